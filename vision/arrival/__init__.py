"""Frame of change to seconds: the arrival map, and whether it may be believed."""
