"""Changes of the schema, one a file in `versions`, each in one transaction."""
