"""Pictures: they take results and return Matplotlib figures, and compute no physics."""
