"""Questions a person has about a cook, each with one function that answers it."""
