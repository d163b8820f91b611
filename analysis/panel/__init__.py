"""panel.toml to SI records: stack, resin, vacuum, part."""
