"""The Raspberry Pi program: reads the bench and publishes it."""
