"""Does anybody have to come? A running log, watched while its cook is away."""
