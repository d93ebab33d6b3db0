"""How did it go? One page on a probe log."""
