"""What a person sees, in a browser."""
