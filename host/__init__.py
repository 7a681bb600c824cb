"""The technician's server: keeps readings, leads runs, issues certificates, shows pages."""
