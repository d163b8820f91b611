"""The tables of panel.toml, each checked field by field: stack, resin, vacuum, part."""
