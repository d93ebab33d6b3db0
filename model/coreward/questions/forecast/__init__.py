"""When will it be ready? The piece behind a log, its future curve and its words."""
