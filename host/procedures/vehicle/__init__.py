"""The comparison on the vehicle."""
