"""How a part fills: grid, network, obstacle problem, impulse sweep."""
