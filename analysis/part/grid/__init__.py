"""A plan on a grid of cells: shares, links, edge gaps, feeds."""
