"""One calibration of the meat against everything in print."""
