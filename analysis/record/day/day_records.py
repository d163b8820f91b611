"""What is filed of a panel's day: stage photos, findings, and marks on the panel.

Tested in tests/analysis/record/day/test_day_toml.py.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

Points = tuple[tuple[float, float], ...]

FACE, BACK = "demoulded face", "demoulded back"
STAGES = ("stack", "bag", "drawdown", "resin open", "end of fill", FACE, BACK, "other")
"""What a photo may show, in the order of the day."""
BEFORE_RUN = ("stack", "bag", "drawdown")
AFTER_RUN = (FACE, BACK)
SURFACES = ("very good", "good", "fair", "poor", "scrap")
"""Grades of the face, best first."""
COUNTS = ("none", "few", "many")
PRINTS = ("none", "slight", "strong")
KINDS = ("pit", "dry area", "print-through", "bubble", "crease", "resin-rich", "other")
"""What a mark on the panel may be."""
TIME_FROM = {"photo": "by the photo", "said": "as said", "file": "by the file's date only"}
"""Where a photo's time comes from, with the words for it."""
PLACES = 5
"""Places at which the thickness is measured: near the four corners, as corners run, and the
middle (common practice, no source)."""


@dataclass(frozen=True)
class StagePhoto:
    """One photo of the day.

    Attributes
    ----------
    file : str
        Place in the panel folder, with ``/``.
    stage : str
        One of `STAGES`.
    time : str
        ISO time as the clock on the wall showed it, to the second; empty when not known.
    time_from : str
        One of `TIME_FROM`; empty without a time.
    note : str
    corners_px : tuple of 4 (x, y), or empty
        The panel's corners (0, 0), (length, 0), (length, width), (0, width) in the upright photo;
        of a part four or more of its corners.
    points_mm : tuple of (x, y)
        Of a part: where on the plan those corners are.
    """

    file: str
    stage: str
    time: str = ""
    time_from: str = ""
    note: str = ""
    corners_px: Points = ()
    points_mm: Points = ()


@dataclass(frozen=True)
class Findings:
    """What was found after demoulding; None or empty where nobody said.

    Attributes
    ----------
    surface : str
        One of `SURFACES`.
    pits, dry_areas : str
        One of `COUNTS`.
    print_through : str
        One of `PRINTS`.
    thickness_mm : tuple of float
        Where five: near the four corners, as corners run, and in the middle.
    weight_kg : float or None
        Of the demoulded panel.
    resin_used_kg, resin_left_kg : float or None
        Mixed resin that went in, and that was left over.
    note : str
    understood : tuple of str
        How values written with a unit were understood.
    """

    surface: str = ""
    pits: str = ""
    print_through: str = ""
    dry_areas: str = ""
    thickness_mm: tuple[float, ...] = ()
    weight_kg: float | None = None
    resin_used_kg: float | None = None
    resin_left_kg: float | None = None
    note: str = ""
    understood: tuple[str, ...] = ()


FINDING_FIELDS = tuple(f.name for f in fields(Findings) if f.name != "understood")


@dataclass(frozen=True)
class Mark:
    """A place on the panel where something was found, in panel mm."""

    kind: str
    x_mm: float
    y_mm: float
    note: str = ""


@dataclass(frozen=True)
class TakenOut:
    """A photo that was filed by mistake and taken out again.

    Attributes
    ----------
    file, stage : str
        As it was filed.
    kept : str
        Where it lies now, in the panel folder, with ``/``.
    time : str
        ISO time at which it was taken out.
    """

    file: str
    stage: str
    kept: str
    time: str = ""


@dataclass(frozen=True)
class Day:
    """All that is filed of one panel.

    Attributes
    ----------
    done_by, batch : str
        Who did it, and the batches of resin and stack; empty when nobody said.
    photos : tuple of StagePhoto
        In the order of the day: by stage, then by time.
    findings : Findings
    marks : tuple of Mark
        In the order they were filed; mark 1 is the first.
    taken_out : tuple of TakenOut
    """

    done_by: str = ""
    batch: str = ""
    photos: tuple[StagePhoto, ...] = ()
    findings: Findings = Findings()
    marks: tuple[Mark, ...] = ()
    taken_out: tuple[TakenOut, ...] = ()

    @property
    def has_findings(self) -> bool:
        """Whether anything was said of the demoulded panel."""
        said = any(getattr(self.findings, name) not in ("", (), None) for name in FINDING_FIELDS)
        return said or bool(self.marks)
