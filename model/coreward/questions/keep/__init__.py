"""What did this cook teach? A finished log kept for the next forecast, on this machine only."""
