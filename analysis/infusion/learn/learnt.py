"""What was learnt of a part, as records.

Tested in tests/analysis/infusion/learn/test_fit_plan.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.infusion.learn.coarse_model import Anchor
from analysis.part.plan.plan import PartPlan
from vision.records import FloatArray

WHAT = {"zone": "K of", "gap": "width of", "feed": "resistance of"}
"""What a value is, by its kind, before its name."""

EARLY, LATE, SHUT = "early", "late", "shut"
WORKS, UNSEEN = "as stated", "not seen"
NEVER_S = 1e7
"""Later than any part fills."""


@dataclass(frozen=True)
class Opening:
    """When a feed that opens after another gave resin, beside when it was to.

    Attributes
    ----------
    name : str
    index : int
        Among the feeds of the plan.
    said_s : float
        When it was noted as open, else when the plan opens it, in seconds since resin start.
    noted : bool
    passed_s : float
        When the cloth at it was wet; infinity where it is not.
    state : {"early", "late", "shut", "as stated", "not seen"}
        Whether it gave resin clearly before or after the time stated, none by the last look, from
        then on as it should, or the picture does not tell.
    since_s, low_s, high_s : float
        Since when it gave resin, and the ends of an interval; infinity where it gives none.
    """

    name: str
    index: int
    said_s: float
    noted: bool
    passed_s: float
    state: str
    since_s: float = float("nan")
    low_s: float = float("nan")
    high_s: float = float("nan")

    @property
    def other(self) -> bool:
        """Whether it clearly opened at another time than stated, or not at all."""
        return self.state in (EARLY, LATE, SHUT)

    @property
    def at_work(self) -> bool:
        """Whether resin is seen to come from it."""
        return self.state in (EARLY, LATE, WORKS)

    @property
    def taken_s(self) -> float:
        """When it is taken to have opened."""
        return min(self.since_s, NEVER_S) if self.other else self.said_s


@dataclass(frozen=True)
class LearntValue:
    """One number of the plan, corrected by what was seen.

    Attributes
    ----------
    kind : {"zone", "gap", "feed"}
        K of a zone (m2, its first principal value; the second goes with it), width of a gap (mm),
        resistance of a feed (mm of stack).
    name : str
        As in the plan; "the stack" for what lies in no zone.
    planned, value, low, high : float
        In `unit`; `low` and `high` are the ends of the 95 % interval, the doubts of viscosity and
        vacuum as stated in it.
    unit : str
    told : bool
        Whether the picture tells it; where not, `value` is what the forecast takes, the planned one
        or one moved with the others, and `why` says why.
    seen_low, seen_high : float
        Ends of the interval that the picture alone leaves, viscosity and vacuum taken as stated:
        the one that holds for ratios between zones of one part.
    """

    kind: str
    name: str
    planned: float
    value: float
    low: float
    high: float
    unit: str
    told: bool
    why: str = ""
    seen_low: float = float("nan")
    seen_high: float = float("nan")


@dataclass(frozen=True)
class Unlike:
    """A place that no values of the plan explain.

    Attributes
    ----------
    x_mm, y_mm : float
        Its middle.
    area_mm2 : float
    late_s : float
        How much later than the fitted filling the resin came there; below 0 earlier.
    """

    x_mm: float
    y_mm: float
    area_mm2: float
    late_s: float


@dataclass(frozen=True)
class Learnt:
    """The plan corrected by what was seen, and what it forecasts.

    Attributes
    ----------
    values : tuple of LearntValue
        Zones, gaps, feeds, in the plan's order.
    plan : PartPlan
        With the values that were told.
    arrival_s : ndarray of shape (cells,), float
        Seconds since resin start at each cell of the plan's grid: as seen where it is wet, else
        as forecast with the corrected values.
    fill_time_s, fill_low_s, fill_high_s : float
        When the part is full, and the ends of the 95 % interval.
    gel_s, working_s : float or None
        From resin start.
    unlike : tuple of Unlike
        Places that the fitted filling does not explain.
    misfit : float
        Usual relative difference in time between what was seen and the fitted filling.
    notes : tuple of str
        What the numbers rest on, in plain words.
    knobs : ndarray, float
        Where the search ended, to start the next from.
    anchor : Anchor or None
        The plan's filling near there, to start the next from.
    relied_on : bool
        False where too much of what was seen is unlike for the forecast to be relied on.
    openings : tuple of Opening
        When feeds that open after another gave resin.
    """

    values: tuple[LearntValue, ...]
    plan: PartPlan
    arrival_s: FloatArray
    fill_time_s: float
    fill_low_s: float
    fill_high_s: float
    gel_s: float | None
    working_s: float | None
    unlike: tuple[Unlike, ...]
    misfit: float
    notes: tuple[str, ...]
    knobs: FloatArray
    anchor: Anchor | None = None
    relied_on: bool = True
    openings: tuple[Opening, ...] = ()

    @property
    def explains(self) -> bool:
        """Whether the plan's own filling explains all that was seen."""
        return not self.unlike
