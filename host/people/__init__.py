"""Who works at the desk, and what each may do."""
