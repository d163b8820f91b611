"""What is still to come on a part that fills: the front as seen, the forecast ahead of it."""
