"""The pages above the questions: the start page and the cards of the lessons."""
