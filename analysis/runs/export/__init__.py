"""Everything a panel measured as tidy tables, JSON, NumPy and TIFF."""
