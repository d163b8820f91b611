"""Arrival map to front curve: lanes, race-tracking, dry spots, stall, corrections, files."""
