"""The one exception a user may meet.

Tested in tests/vision/common/test_atomic_files.py.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path


class WetlineError(Exception):
    """A fault in what the user gave, told on one line with the way to mend it.

    The command line shows the message alone and exits with code 1.
    """


def bad_field(file: Path | str, field: str, value: object, rule: str) -> WetlineError:
    """Return the error for one wrong value in one file.

    Parameters
    ----------
    file : path
        The file the value stands in; only its name is shown, with its folder.
    field : str
        The field as the user wrote it, e.g. ``[panel] length_mm``.
    value : object
        What was found there.
    rule : str
        What is wanted and how to mend it.

    Examples
    --------
    >>> str(bad_field("p/panel.toml", "[panel] length_mm", -3, "must be above 0"))
    'p/panel.toml: [panel] length_mm = -3: must be above 0'
    """
    path = Path(file)
    shown = "/".join(path.parts[-2:])
    return WetlineError(f"{shown}: {field} = {clipped(value)}: {rule}")


def clipped(value: object) -> str:
    """Return a value on one line, cut off where it runs on.

    Examples
    --------
    >>> clipped("0.5\\n mm")
    '0.5 mm'
    """
    text = " ".join(str(value).split())
    return text if len(text) <= 60 else text[:57] + "..."


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the hint that names the nearest known word, or nothing where none is near.

    Parameters
    ----------
    word : str
        As the user wrote it.
    known : iterable of str
        What may stand there.

    Examples
    --------
    >>> did_you_mean("viscosity_doublng_min", ["viscosity_mpas", "viscosity_doubling_min"])
    '; did you mean viscosity_doubling_min?'
    >>> did_you_mean("colour", ["viscosity_mpas"])
    ''
    """
    plain = {one.lower(): one for one in known}
    near = difflib.get_close_matches(word.lower().replace("-", "_"), plain, 1, 0.6)
    return f"; did you mean {plain[near[0]]}?" if near else ""
