"""Does it cool fast enough? Cooling limits for whole and cut pieces."""
