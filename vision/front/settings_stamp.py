"""A stamp of what tracking was told, to notice when panel.toml has changed since."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from vision.common.toml_table import read_toml

FIX_FILE = "fix.csv"
TABLES = ("panel", "frames", "scale")
NAMES_ONLY = ("name", "confirmed")
"""Fields of those tables that do not change what is tracked."""


def settings_stamp(folder: Path) -> str:
    """Return a short stamp of all in a panel folder that tells the tracker what to do.

    The tables [panel], [frames] and [scale] without names, the corrections by hand, and pen
    marks. The same settings in another order or with other comments give the same stamp.

    Raises
    ------
    WetlineError
        If panel.toml is missing or breaks TOML's rules.
    """
    document = read_toml(folder / "panel.toml")
    told = {}
    for name in TABLES:
        table = document.get(name)
        fields = table.items() if isinstance(table, dict) else ()
        told[name] = {key: value for key, value in fields if key not in NAMES_ONLY}
    digest = hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode("utf-8"))
    source = told["frames"].get("source")
    files = [FIX_FILE, *([source] if str(source).lower().endswith(".csv") else [])]
    for path in (folder / str(name) for name in files):
        if path.is_file():
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
