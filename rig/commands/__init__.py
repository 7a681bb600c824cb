"""Commands of the rig, one a file."""
