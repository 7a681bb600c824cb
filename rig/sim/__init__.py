"""Simulated silicon under the real drivers, and the world that it measures."""
