"""Solvers of the one statement. Each takes a `Problem` and returns `Raw` arrays."""
