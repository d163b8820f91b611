"""What a part teaches: the plan's own filling fitted to what was seen, and the rest forecast."""
