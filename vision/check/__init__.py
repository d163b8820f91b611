"""Whether the photos show what was made of them: each is drawn again, coarsely, and compared."""
