"""The files a panel's or a part's answer rests on, and what they hold: a hash of each.

Tested in tests/analysis/record/test_input_files.py.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from vision.common.outside.input_files import file_hash
from vision.common.toml_table import read_toml
from vision.errors import WetlineError

RESULTS = "results"
SETTINGS = ("panel.toml", "part.toml")


def input_files(folder: Path) -> dict[str, Path]:
    """Find the files that a panel folder's results may rest on.

    Parameters
    ----------
    folder : Path
        Folder of a panel or part.

    Returns
    -------
    files : dict of str to Path
        Every regular file in the folder and below it, by its path from the folder with ``/``,
        but for ``results``, hidden files and panels or parts of their own further down; and what
        panel.toml, or part.toml, names outside of the folder, by the name that it has there.
        Sorted.

    Notes
    -----
    Rather a file too many than one too few: a file that turns out to say nothing costs one more
    run, one that was overlooked leaves an answer that no longer holds.
    """
    folder = Path(folder)
    found = {_shown(path.relative_to(folder).as_posix()): path for path in _beneath(folder)}
    for name in sorted(_texts(_document(folder))):
        place = _outside(folder, name)
        if place is None:
            continue
        if place.is_file():
            found[name] = place
        elif place.is_dir():
            inside = (p for p in _beneath(place))
            found |= {_shown(f"{name}/{p.relative_to(place).as_posix()}"): p for p in inside}
    return dict(sorted(found.items()))


def hash_inputs(folder: Path) -> dict[str, str]:
    """Compute the SHA-256 of each input file of a panel.

    Parameters
    ----------
    folder : Path
        Panel folder.

    Returns
    -------
    hashes : dict of str to str
        By the names of `input_files`; "cannot be read" where the file cannot be.
    """
    return {name: file_hash(path) for name, path in input_files(folder).items()}


def _beneath(folder: Path) -> Iterator[Path]:
    """Yield regular files, each folder in the order of names; links to folders are not entered."""
    for place, folders, names in os.walk(folder):
        here = Path(place)
        at_top = here == folder
        folders[:] = sorted(
            name
            for name in folders
            if name[0] != "."
            and not (at_top and name == RESULTS)
            and not any((here / name / own).is_file() for own in SETTINGS)
        )
        for name in sorted(names):
            if name[0] != "." and (here / name).is_file():
                yield here / name


def _document(folder: Path) -> dict[str, Any]:
    """Return what panel.toml says, or part.toml where there is no panel."""
    own = next((name for name in SETTINGS if (folder / name).is_file()), SETTINGS[0])
    try:
        return read_toml(folder / own)
    except WetlineError:
        return {}


def _texts(value: Any) -> set[str]:
    """Return every text that stands as a value in a TOML document."""
    if isinstance(value, str):
        return {value}
    items = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return set().union(*(_texts(item) for item in items))


def _outside(folder: Path, name: str) -> Path | None:
    """Return the place that a text names, where it is one that `_beneath` does not reach."""
    if not name or "\0" in name or "\n" in name or len(name) > 1000:
        return None
    try:
        place = folder / name
        if not place.exists():
            return None
        home, resolved = folder.resolve(), place.resolve()
        linked = place.is_dir() and os.path.islink(place)
    except (OSError, RuntimeError, ValueError):
        return None
    above = resolved == home or resolved in home.parents
    reached = home in resolved.parents and not linked
    return None if above or reached else place


def _shown(name: str) -> str:
    """Return a file name as text that can be written, also one that is not UTF-8."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")
