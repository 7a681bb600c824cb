"""Procedures: pure, event-logged ways through a job, and the runner that leads them."""
