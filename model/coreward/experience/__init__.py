"""Cooks of the past: those of the shipped library and the person's own."""
