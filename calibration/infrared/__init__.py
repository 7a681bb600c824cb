"""Infrared thermometry: Planck's law over a band, emissivity, reflected surroundings, spot size."""
