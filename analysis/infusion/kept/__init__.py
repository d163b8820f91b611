"""What a run left of a part, read back and held against its part.toml."""
