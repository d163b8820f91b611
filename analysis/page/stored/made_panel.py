"""A new panel made on the page: a folder named after it, with the panel.toml of `wetline new`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.page.stored.panels import Panels, panel_id
from analysis.panel.new_panel import ASKS, SCALES, new_panel, read_answer
from vision.errors import WetlineError

FLOWS = ("edge", "point")
MOST_NAME = 60


def folder_named(name: str) -> str:
    """Return the folder's name for a panel's: letters, digits, ``-`` and ``_`` of any language.

    Examples
    --------
    >>> folder_named(" Deckel 3 / links "), folder_named("../../etc"), folder_named("***")
    ('Deckel_3_links', 'etc', '')
    """
    return re.sub(r"[^\w-]+", "_", name[:MOST_NAME]).strip("_")


def make_panel(panels: Panels, values: Mapping[str, Any]) -> tuple[str, list[str]]:
    """Make a panel folder from what was typed.

    Parameters
    ----------
    panels : Panels
        Those that there are.
    values : mapping
        `name`, `flow`, `scale`, and `answers`: text by the option of each `Ask`, empty where it
        stays open.

    Returns
    -------
    panel, questions : str, list of str
        Its id, and values that are possible but not likely.

    Raises
    ------
    WetlineError
        If a value cannot be, or there is such a folder. Nothing is written then.
    """
    name, flow, scale = (str(values.get(key) or "") for key in ("name", "flow", "scale"))
    if not folder_named(name):
        raise WetlineError("name: give the panel a name with letters or digits")
    if flow not in FLOWS or scale not in SCALES:
        raise WetlineError("flow and scale: choose one of those shown")
    root: Path = panels.root.resolve()
    folder = root / folder_named(name)
    if (root / "panel.toml").exists():
        raise WetlineError("this page shows one panel: start it on the folder above to add another")
    if folder.exists() or folder.is_symlink():
        raise WetlineError(f"name: there is a folder {folder.name} already: choose another name")
    questions = new_panel(folder, name=name, flow=flow, scale=scale, answers=_answers(values))
    return panel_id(folder.name), questions


def _answers(values: Mapping[str, Any]) -> dict[str, str]:
    typed = values.get("answers")
    given = typed if isinstance(typed, dict) else {}
    lines = {}
    for ask in ASKS:
        text = str(given.get(ask.option) or "").strip()
        if not text:
            continue
        try:
            lines[ask.key] = read_answer(ask, text)
        except ValueError as error:
            raise WetlineError(f"{ask.question}: {text}: {error}") from None
    return lines
