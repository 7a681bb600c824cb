"""One file a change; the newest is the schema of today."""
