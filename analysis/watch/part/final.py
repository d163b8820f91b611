"""When the run of a part ends: its final result, and how far the board was from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.forecast.panel_text import TextRow
from analysis.infusion.ahead.time_left import FULL
from analysis.infusion.answer.run_job import run_part
from analysis.infusion.answer.run_text import ADVICE, headline, rows
from analysis.watch.board import clock_text
from vision.part_records import PartSeen

MOST_OFF = 0.02
HALF = 0.5
MOST_UNSEEN = 0.02
"""Half-width of the wet share up to which a part in which all that was seen is wet is full."""


@dataclass(frozen=True)
class Told:
    """What the board said at one photo.

    Attributes
    ----------
    name : str
        Of the photo.
    wet_share : float
    end_s, low_s, high_s : float
        When the part was to be full, in seconds since resin start.
    """

    name: str
    wet_share: float
    end_s: float
    low_s: float
    high_s: float


def finish_part(folder: Path, told: Sequence[Told]) -> tuple[TextRow, ...]:
    """Work out the final result of a watched part, write it, and say what came out.

    Parameters
    ----------
    folder : Path
    told : sequence of Told
        What the board said, in time order.

    Raises
    ------
    WetlineError
        As `run_part`.
    """
    found = run_part(folder)
    shown = [TextRow(row.name, row.text, row.more) for row in rows(found)]
    caution = [TextRow("Caution", text) for text in ADVICE] if found.beside is not None else []
    told_off = TextRow("", difference_line(told, found.seen))
    return (TextRow("Verdict", headline(found)), *shown, *caution, told_off)


def difference_line(told: Sequence[Told], seen: PartSeen) -> str:
    """Write how far the board was from the final result, in one line.

    Parameters
    ----------
    told : sequence of Told
    seen : PartSeen
        The final one.
    """
    final = dict(zip(seen.frames, seen.wetted_share, strict=True)) if seen.usable else {}
    pairs = [(one, float(final[one.name])) for one in told if one.name in final]
    off = np.array([one.wet_share - share for one, share in pairs if np.isfinite(share)])
    if not len(off):
        return "The live board cannot be compared with the final result: they share no picture."
    rms, most = float(np.sqrt(np.mean(off**2))), float(np.abs(off).max())
    text = (
        f"Live board against the final result: wet share {100 * rms:.1f} % of the part apart "
        f"(rms), at most {100 * most:.1f} %"
    )
    text += _end_words(told, seen)
    return f"{text}." if rms <= MOST_OFF else f"{text}. The final result counts."


def _end_words(told: Sequence[Told], seen: PartSeen) -> str:
    """Write when the part was full beside what the board said of that when half of it was wet."""
    at = [one for one in told if one.wet_share >= HALF and np.isfinite(one.high_s)]
    share, half = np.nan_to_num(seen.wetted_share), 2.0 * np.nan_to_num(seen.wetted_sd)
    full = np.flatnonzero((share >= FULL) & (half <= MOST_UNSEEN))
    if not at or not len(full):
        return ""
    inside = seen.inside & np.isfinite(seen.time_s)
    end_s = float(seen.time_s[inside].max())
    said = f"{clock_text(at[0].end_s)} ({clock_text(at[0].low_s)} to {clock_text(at[0].high_s)})"
    return f"; full at {clock_text(end_s)}, said when half was wet: {said}"
