"""A part in photos that are not of its run."""
