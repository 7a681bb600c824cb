"""The check of an infrared thermometer at the target."""
