"""One chip or instrument per file, the bus handed in."""
