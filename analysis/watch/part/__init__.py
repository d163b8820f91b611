"""The board of a part that fills: its numbers, what is wrong, and a few lines of text."""
