"""After the fire: carryover, the wrap, softness and the time it can be held for serving."""
