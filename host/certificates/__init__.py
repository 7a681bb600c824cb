"""Certificates: a value first, then renderings of it."""
