"""Front curve to decisions. May import ``vision``; never the reverse."""
