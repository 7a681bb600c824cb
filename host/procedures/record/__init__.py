"""What was issued, looked at again: its record, its folder, its numbers worked out anew."""
