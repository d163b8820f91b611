"""Front curve to permeability with its interval."""
