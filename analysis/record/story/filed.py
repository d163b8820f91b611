"""All that lies beside a panel's answer and belongs into its record, gathered once.

Tested in tests/analysis/record/test_record.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

from analysis.forecast.panel_answer import PanelAnswer
from analysis.panel.gauge_readings import read_readings
from analysis.record.day.day_records import Day
from analysis.record.day.day_toml import read_day
from analysis.record.day.kept_results import Kept, kept_result
from analysis.record.day.mark_flow import MarkFlow, flow_at
from analysis.record.day.stage_pictures import StagePicture, stage_pictures
from analysis.record.figures import png_bytes
from analysis.record.input_files import hash_inputs
from analysis.record.story.inch_axes import map_in_inches
from vision.common.toml_table import read_toml
from vision.drawing.pictures import read_photo
from vision.drawing.strokes import small_jpeg
from vision.errors import WetlineError
from vision.settings.event_log import Stamp, read_stamps

MOST_NOTES = 8
"""Photos of notes in one report: more would not be mailed; the files stay in the folder."""
NOTES_FOLDER, NOTE_PX = "notes", 600
T = TypeVar("T")
SAID = ("date", "operator", "notes")
"""Free texts of panel.toml that belong into the record."""
DRAWDOWN, RESIN, FORECAST = "drawdown", "resin", "forecast"


@dataclass(frozen=True)
class Filed:
    """What was filed or kept beside the answer; all empty where nothing was.

    Attributes
    ----------
    day : Day
    pictures : tuple of StagePicture
    marks : tuple of MarkFlow
    drawdown, resin, forecast : Kept
    levers : bytes
        The forecast's picture.
    stamps : tuple of Stamp
    notes : dict of str to bytes
        The photos that stamps name, small; no more than `MOST_NOTES`.
    readings : tuple of (Unix time, mbar absolute)
    said : dict of str to str
        Free texts of panel.toml: `date`, `operator`, `notes`.
    hashes : dict of str to str
        SHA-256 of each input file by its name.
    faults : tuple of str
        What could not be read, and how to mend it.
    of : {"panel", "part"}
    inch : bool
        Whether figures have inches, inHg and pounds beside the metric values.
    """

    day: Day = field(default_factory=Day)
    pictures: tuple[StagePicture, ...] = ()
    marks: tuple[MarkFlow, ...] = ()
    drawdown: Kept = field(default_factory=Kept)
    resin: Kept = field(default_factory=Kept)
    forecast: Kept = field(default_factory=Kept)
    levers: bytes = b""
    stamps: tuple[Stamp, ...] = ()
    notes: dict[str, bytes] = field(default_factory=dict)
    readings: tuple[tuple[float, float], ...] = ()
    said: dict[str, str] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)
    faults: tuple[str, ...] = ()
    of: str = "panel"
    inch: bool = False


def gather_stamped(folder: Path, hashes: dict[str, str] | None = None) -> Filed:
    """Return what was filed and stamped of a panel or part, apart from what rests on its answer.

    A file that cannot be read is no reason to lose the run's result: it is named in `faults`.

    Parameters
    ----------
    folder : Path
        Of the panel or part.
    hashes : dict of str to str, optional
        SHA-256 of each input file by its name, if already worked out.
    """
    faults: list[str] = []
    stamps: tuple[Stamp, ...] = _or_fault(lambda: tuple(read_stamps(folder)), (), faults)
    return Filed(
        day=_or_fault(lambda: read_day(folder), Day(), faults),
        stamps=stamps,
        notes=_note_photos(folder, stamps),
        readings=_or_fault(lambda: tuple(read_readings(folder)), (), faults),
        hashes=hash_inputs(folder) if hashes is None else hashes,
        faults=tuple(faults),
    )


def gather(
    folder: Path,
    answer: PanelAnswer,
    hashes: dict[str, str] | None = None,
    inch: bool = False,
) -> Filed:
    """Return all that a panel folder holds beside its answer.

    A file that cannot be read is no reason to lose the run's result: it is named in `faults`.

    Parameters
    ----------
    folder : Path
        The panel folder.
    answer : PanelAnswer
        What the panel says.
    hashes : dict of str to str, optional
        As for `gather_stamped`.
    inch : bool
        Whether lengths on photos are in inches, and figures have inches and inHg too.
    """
    filed = gather_stamped(folder, hashes)
    day = filed.day
    forecast = kept_result(folder, FORECAST)
    levers = folder / "results" / "levers.png"
    panel = read_toml(folder / "panel.toml").get("panel", {})
    return replace(
        filed,
        pictures=tuple(stage_pictures(folder, day, answer.front.usable, inch)),
        marks=tuple(flow_at(mark, answer.tracked) for mark in day.marks),
        drawdown=kept_result(folder, DRAWDOWN, "log_file"),
        resin=kept_result(folder, RESIN),
        forecast=forecast,
        levers=_levers(levers, answer, inch) if forecast.good and levers.is_file() else b"",
        inch=inch,
        said={key: str(panel[key]) for key in SAID if panel.get(key)},
    )


def _levers(path: Path, answer: PanelAnswer, inch: bool) -> bytes:
    """Return the forecast's picture as kept, or drawn again with the other units on its axes."""
    from analysis.forecast.forecast import case_of
    from analysis.record.changes_figure import LEVERS_DPI, changes_figure

    case = case_of(answer) if inch else None
    if case is None:
        return path.read_bytes()
    return png_bytes(map_in_inches(changes_figure(case)), LEVERS_DPI)


def _or_fault(read: Callable[[], T], empty: T, faults: list[str]) -> T:
    """Return what `read` reads, or nothing and note why."""
    try:
        return read()
    except WetlineError as error:
        faults.append(str(error))
        return empty


def _note_photos(folder: Path, stamps: tuple[Stamp, ...]) -> dict[str, bytes]:
    """Return the photos that stamps name, in their order; what cannot be read is left out."""
    named = dict.fromkeys(stamp.photo for stamp in stamps if stamp.photo)
    found = {}
    for name in list(named)[:MOST_NOTES]:
        try:
            found[name] = small_jpeg(read_photo(folder / NOTES_FOLDER / Path(name).name), NOTE_PX)
        except WetlineError:
            continue
    return found
