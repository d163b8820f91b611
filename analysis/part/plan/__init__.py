"""part.toml to a checked plan."""
