"""Commands of the desk, one a file."""
