"""Better feed layouts, and feed spacing."""
