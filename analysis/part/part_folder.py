"""Whether a path is a part's or a panel's, asked before what either of them needs is loaded."""

from __future__ import annotations

from pathlib import Path


def is_part(path: Path) -> bool:
    """Return whether a path is a part's: its part.toml, or a folder that holds one and no panel."""
    if path.is_file():
        return path.suffix == ".toml" and path.name != "panel.toml"
    return (path / "part.toml").is_file() and not (path / "panel.toml").is_file()
