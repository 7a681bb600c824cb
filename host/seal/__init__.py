"""The shop's seal on an issued paper: its keys, the signature in the file, and the check of it."""
