"""Budgets by JCGM 100, on GTC."""
