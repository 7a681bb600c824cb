"""One artefact at every station."""
