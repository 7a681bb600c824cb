"""The classroom: exercises with a planted fault, what a student sees of them, and their marks."""
