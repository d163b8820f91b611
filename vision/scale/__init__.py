"""Photo to millimetres and its error; printable cards; corner picking."""
