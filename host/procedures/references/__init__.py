"""The bench's own references: probe and witness."""
