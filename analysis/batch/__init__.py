"""Many panel folders brought up to date at once."""
