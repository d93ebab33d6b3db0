"""How long must it be held? And what each printed row is worth."""
