"""Results of each kind of certificate, as values."""
