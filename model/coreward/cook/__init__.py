"""Cooks: a piece, its stages, and what comes of them."""
