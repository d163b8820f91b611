"""Live sources; each picture on disk first, with its time."""
