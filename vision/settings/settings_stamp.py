"""A stamp of what a panel folder was told, to notice when it has changed since."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from vision.common.outside.input_files import is_there, read_file
from vision.common.toml_table import read_toml

FIX_FILE = "fix.csv"
TRACKED = ("panel", "frames", "scale")
"""Tables that tell the tracker what to do."""
ANSWERED = (*TRACKED, "stack", "resin", "vacuum")
"""Tables on which a permeability rests."""
NAMES_ONLY = ("name", "confirmed")
"""Fields that do not change what comes out."""


def settings_stamp(
    folder: Path, tables: Sequence[str] = TRACKED, document: Mapping[str, Any] | None = None
) -> str:
    """Return a short stamp of tables in a folder's panel.toml and of the files they name.

    Parameters
    ----------
    folder : Path
        Panel folder.
    tables : sequence of str
        Names of tables. Corrections by hand count with them, and so does each CSV file that a
        field names (pen marks, logs). Names, order and comments do not.
    document : mapping, optional
        What panel.toml holds, where it was read already.

    Raises
    ------
    WetlineError
        If panel.toml is missing or breaks TOML's rules.
    """
    document = read_toml(folder / "panel.toml") if document is None else document
    told, files = {}, [FIX_FILE]
    for name in tables:
        table = document.get(name)
        fields = table.items() if isinstance(table, dict) else ()
        told[name] = {key: value for key, value in fields if key not in NAMES_ONLY}
        files += [str(v) for v in told[name].values() if str(v).lower().endswith(".csv")]
    digest = hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode("utf-8"))
    for path in (folder / name for name in files):
        if is_there(path) and path.is_file():
            digest.update(read_file(path))
    return digest.hexdigest()[:16]
