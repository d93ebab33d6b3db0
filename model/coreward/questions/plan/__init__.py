"""When do I light the fire? The day, its file, ways side by side, what if it slips."""
