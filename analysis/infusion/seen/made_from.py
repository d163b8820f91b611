"""What a run on a part was made from: its part.toml, its photos, the version."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.common.outside.input_files import file_hash
from vision.common.outside.version import wetline_version
from vision.common.toml_table import read_toml
from vision.frames.photos import PHOTO_SUFFIXES
from vision.parts.hand.part_fixes import FIX_FILE
from vision.settings.event_log import (
    FEED_BACK,
    FEED_OPEN,
    RESIN_OPEN,
    VENT_BACK,
    VENT_SHUT,
    read_stamps,
)
from vision.settings.frame_settings import FrameSource

UNTOLD = ("search",)
"""Tables on which no run rests."""
NAMES = ("name", "confirmed")
"""Fields that do not change what comes out."""
PANEL_FILES = ("panel.toml", "results/results.json")
"""What a stack is taken from where part.toml names the folder of a panel."""
DONE_BY_HAND = (RESIN_OPEN, FEED_OPEN, FEED_BACK, VENT_SHUT, VENT_BACK)
"""Kinds of stamp that change what comes out: a note, a photo or an alarm does not."""
DIGITS = 16


@dataclass(frozen=True)
class MadeFrom:
    """What a run was made from.

    Attributes
    ----------
    part_toml : str
        Stamp of part.toml and of the files that it names.
    photos : tuple of str
        Stamp of each photo's content, sorted; of the film where there is one.
    wetline : str
        Version.
    """

    part_toml: str
    photos: tuple[str, ...]
    wetline: str


def made_from(path: Path, source: FrameSource) -> MadeFrom:
    """Return what a run on a part is made from.

    Parameters
    ----------
    path : Path
        Its part.toml.
    source : FrameSource
        Where its photos lie.

    Raises
    ------
    WetlineError
        If part.toml cannot be read.
    """
    return MadeFrom(plan_stamp(path), tuple(sorted(_photo_stamps(source))), wetline_version())


def plan_stamp(path: Path) -> str:
    """Return a stamp of a part.toml, of what it names, of fix.csv, and of what was done by hand.

    Names, comments, order and what a search is asked for do not count, nor do notes and alarms.

    Raises
    ------
    WetlineError
        If it cannot be read.
    """
    told = {
        table: _fields(value)
        for table, value in read_toml(path).items()
        if table not in (*UNTOLD, *NAMES)
    }
    digest = hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode("utf-8"))
    fixes = path.parent / FIX_FILE
    if fixes.is_file():
        digest.update(file_hash(fixes).encode())
    for stamp in read_stamps(path.parent):
        if stamp.kind in DONE_BY_HAND:
            digest.update(f"{stamp.clock_s}|{stamp.kind}|{stamp.text}\n".encode())
    frames = told.pop("frames", {})
    source = str(frames.get("source", "")) if isinstance(frames, Mapping) else ""
    for name in sorted(set(_texts(told)) - {source}):
        for place in _named_files(path.parent, name):
            digest.update(file_hash(place).encode())
    return digest.hexdigest()[:DIGITS]


def _fields(value: Any) -> Any:
    """Return a table, or each of several, without the fields that change nothing."""
    if isinstance(value, dict):
        return {key: item for key, item in value.items() if key not in NAMES}
    return [_fields(item) for item in value] if isinstance(value, list) else value


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    items = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    for item in items:
        yield from _texts(item)


def _named_files(folder: Path, name: str) -> Iterator[Path]:
    """Yield the file that a text names, or those of a panel whose folder it names."""
    try:
        place = folder / name
        names = (place, *(place / file for file in PANEL_FILES))
        yield from (path for path in names if path.is_file())
    except (OSError, ValueError):  # a text that can be no path
        return


def _photo_stamps(source: FrameSource) -> Iterator[str]:
    if source.path.is_file():
        yield file_hash(source.path)[:DIGITS]
    elif source.path.is_dir():
        for path in source.path.iterdir():
            photo = path.suffix.lower() in PHOTO_SUFFIXES and path.name[0] != "."
            if photo and path.is_file():
                yield file_hash(path)[:DIGITS]
