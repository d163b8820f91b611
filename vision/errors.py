"""The one exception a user may meet."""

from __future__ import annotations

from pathlib import Path


class WetlineError(Exception):
    """A fault in what the user gave, told on one line with the way to mend it.

    The command line shows the message alone and exits with code 1.
    """


def bad_field(file: Path | str, field: str, value: object, rule: str) -> WetlineError:
    """Build the error for one wrong value in one file.

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
    text = " ".join(str(value).split())
    text = text if len(text) <= 60 else text[:57] + "..."
    return WetlineError(f"{shown}: {field} = {text}: {rule}")
