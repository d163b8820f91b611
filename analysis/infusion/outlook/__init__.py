"""What lies ahead of a part that is filling: numbers and words, live and in the result."""
