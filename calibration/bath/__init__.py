"""What the bath does to a comparison of two thermometers in it."""
