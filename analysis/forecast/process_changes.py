"""What could be changed so that the part fills in time, and by how much it must change.

A change is named only within what a supplier sells or a shop can do; the bounds below say what
that is taken to be.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from analysis.forecast.what_if import Case, Change, Outcome, drive_ratio, least_that_fills, outcome
from analysis.panel.flow_media import MediaFacts
from analysis.panel.records import Panel
from vision.common.rounding import Side, rounded
from vision.records import FloatArray

BEST_BAG_PA = 1000.0
"""Absolute pressure a good pump and a tight bag reach, 10 mbar (common practice, no source)."""
COLDEST_C, WARMEST_C = 15.0, 40.0
"""Range of temperatures a shop can hold resin, stack and tool at (common practice, no source)."""
MOST_CURE, LONGEST_GEL_S = 3.0, 300.0 * 60.0
"""A slower hardener of the same family stretches the gel time about threefold, and infusion resins
that gel later than five hours in a thin laminate are rare (common practice, no source)."""
MOST_SPEED = 10.0
"""Most by which flow media make a stack faster (common practice, no source)."""
LEAST_RUN_M = 0.10
"""Shortest run worth laying a feed line for: lines 200 mm apart (common practice, no source)."""


@dataclass(frozen=True)
class ProcessChange:
    """One thing to change.

    Attributes
    ----------
    name : str
        What to change.
    enough : bool
        Whether it alone makes the part fill, by the rule of the verdict.
    needed : float or None
        How far it must go to be enough, in the unit `unit`; None where it cannot be enough.
    likely : float or None
        How far it must go by the best estimate.
    unit : str
        Unit of the two.
    outcome : Outcome
        Fill time and margin with the change at `needed`, or at its furthest.
    furthest : Change
        The change as far as it goes.
    words, cost : str
        The change and its price, in plain words.
    effort : int
        Order of trying, 1 the least trouble.
    """

    name: str
    enough: bool
    needed: float | None
    likely: float | None
    unit: str
    outcome: Outcome
    furthest: Change
    words: str
    cost: str
    effort: int


@dataclass(frozen=True)
class _Reach:
    """How far a change must go, as its own factor: surely, likely; and its outcomes."""

    sure: float | None
    likely: float | None
    at_sure: Outcome
    at_furthest: Outcome
    furthest: Change

    @property
    def enough(self) -> bool:
        return self.sure is not None

    def named(
        self, name: str, factor: float, unit: str, *, words: str, cost: str, effort: int
    ) -> ProcessChange:
        """The change under its name; `factor` turns its own factor into the unit."""
        return ProcessChange(
            name=name,
            enough=self.enough,
            needed=None if self.sure is None else self.sure * factor,
            likely=None if self.likely is None else self.likely * factor,
            unit=unit,
            outcome=self.at_sure,
            furthest=self.furthest,
            words=words,
            cost=cost,
            effort=effort,
        )

    @property
    def short(self) -> str:
        """What is said where it is not enough."""
        return f"not enough alone: as far as it goes, the margin is {self.at_furthest.margin:.2f}"


def all_changes(case: Case, media: MediaFacts | None = None) -> list[ProcessChange]:
    """Work out every change, those that are enough first, then by trouble.

    Parameters
    ----------
    case : Case
        Panel, fit and part.
    media : MediaFacts, optional
        What another panel with flow media has measured.
    """
    found = [
        _vacuum(case),
        _temperature(case),
        _hardener(case),
        _middle(case),
        _media(case) if media is None else _measured_media(case, media),
        _more_lines(case),
        _shorter(case),
    ]
    changes = [change for change in found if change is not None]
    return sorted(changes, key=lambda change: (not change.enough, change.effort))


def enough_together(case: Case, changes: Sequence[ProcessChange]) -> tuple[str, str] | None:
    """Find the two changes of least trouble that are enough together, each as far as it goes.

    Parameters
    ----------
    case : Case
    changes : sequence of ProcessChange
        Of which none is enough alone.

    Returns
    -------
    names : (str, str) or None
        None where no two are enough.
    """
    for first, second in sorted(combinations(changes, 2), key=lambda p: p[0].effort + p[1].effort):
        a, b = first.furthest, second.furthest
        if a.length != 1.0 and b.length != 1.0:
            continue
        both = Change(
            length=a.length * b.length,
            feeds=max(a.feeds, b.feeds),
            speed=a.speed * b.speed,
            cure=a.cure * b.cure,
            temperature_c=b.temperature_c if a.temperature_c is None else a.temperature_c,
            drive=a.drive * b.drive,
            lag_m=a.lag_m + b.lag_m,
        )
        if outcome(case, both).fills:
            return first.name, second.name
    return None


def _reach(case: Case, change: Callable[[float], Change], low: float, high: float) -> _Reach:
    sure = least_that_fills(case, change, low, high, True)
    furthest = outcome(case, change(high))
    return _Reach(
        sure=sure,
        likely=least_that_fills(case, change, low, high, False),
        at_sure=furthest if sure is None else outcome(case, change(sure)),
        at_furthest=furthest,
        furthest=change(high),
    )


def _point_fed(case: Case) -> bool:
    return case.panel.part is not None and case.panel.part.feed == "point"


def _shorter(case: Case) -> ProcessChange | None:
    def change(share: float) -> Change:
        return Change(length=share)

    least = LEAST_RUN_M / case.length_m
    if least >= 1.0:
        return None
    found = _reach(case, change, 1.0, least)
    mm = case.length_m * 1000.0
    words = found.short
    if found.sure is not None:
        words = f"run at most {rounded(found.sure * mm, side='down')} mm"
    cost = "the part must be split, or fed and vented at more places"
    return found.named("shorter run", mm, "mm", words=words, cost=cost, effort=7)


def _middle(case: Case) -> ProcessChange | None:
    if _point_fed(case):
        return None
    half = Change(length=0.5, feeds=2.0)
    at = outcome(case, half)
    half_mm = case.length_m * 500.0
    tail = "" if at.fills else f": not enough alone, the margin is {at.margin:.2f}"
    return ProcessChange(
        name="feed from the middle",
        enough=at.fills,
        needed=half_mm if at.fills else None,
        likely=half_mm if at.margin >= 1.0 else None,
        unit="mm",
        outcome=at,
        furthest=half,
        words=f"one line along the middle: {half_mm:.0f} mm to either side, about a quarter of "
        f"the time{tail}",
        cost="a feed line on the part can print through; vents are needed on both sides",
        effort=4,
    )


def _more_lines(case: Case) -> ProcessChange | None:
    least = LEAST_RUN_M / case.length_m
    if _point_fed(case) or least >= 1.0:
        return None

    def change(share: float) -> Change:
        return Change(length=share, feeds=2.0)

    found = _reach(case, change, 2.0, least)
    length_mm = case.length_m * 1000.0
    words, at = found.short, found.at_furthest
    if found.sure is not None:
        spacing_mm = 2.0 * length_mm * found.sure
        lines = max(1, int(np.ceil(length_mm / spacing_mm - 1e-9)))
        many = "one line in the middle" if lines == 1 else f"{lines} lines over {length_mm:.0f} mm"
        apart = rounded(spacing_mm, side="down")
        words = f"{many} will do; lines may be at most {apart} mm apart"
        at = outcome(case, change(0.5 / lines))
    cost = "each line can print through and traps air if it is opened before the front arrives"
    lines_mm = found.named(
        "more feed lines", 2.0 * length_mm, "mm", words=words, cost=cost, effort=6
    )
    return replace(lines_mm, outcome=at)


MEDIA_COST = (
    "more resin and waste, faster flow can cost surface finish, and the front in the media runs "
    "ahead of the tool side: let it end before the vent"
)


def _media(case: Case) -> ProcessChange:
    def change(speed: float) -> Change:
        return Change(speed=speed)

    found = _reach(case, change, 1.0, MOST_SPEED)
    words = (
        f"not enough alone: usual media make a stack at most about {MOST_SPEED:.0f} times as fast"
    )
    if found.sure is not None:
        need = rounded(found.sure, 1, "up")
        words = f"media that makes the stack at least {need} times as fast, its lead not counted"
    return found.named("flow media", 1.0, "times the speed", words=words, cost=MEDIA_COST, effort=5)


def _measured_media(case: Case, media: MediaFacts) -> ProcessChange:
    """Media measured on another panel; without its lead over the tool side it is not enough."""

    def change(speed: float) -> Change:
        return Change(speed=speed, lag_m=media.lead_m or 0.0)

    found = _reach(case, change, 1.0, max(media.ratio, 1.0))
    enough = found.enough and media.lead_m is not None
    verdict = "that is not enough"
    if media.lead_m is None:
        verdict = "how far it runs ahead of the tool side is not known: add [stack] kz_m2"
    elif found.sure is not None:
        verdict = f"{rounded(found.sure, 1, 'up')} times is enough"
    words = f"the measured media makes the stack {media.ratio:.1f} times as fast; {verdict}"
    measured = found.named(
        "flow media", 1.0, "times the speed", words=words, cost=MEDIA_COST, effort=5
    )
    needed = measured.needed if enough else None
    return replace(measured, enough=enough, needed=needed, outcome=found.at_furthest)


def _hardener(case: Case) -> ProcessChange | None:
    def change(cure: float) -> Change:
        return Change(cure=cure)

    most = min(MOST_CURE, LONGEST_GEL_S / case.gel.gel_s)
    if most <= 1.0:
        return None
    found = _reach(case, change, 1.0, most)
    minutes = case.gel.gel_s / 60.0
    words = f"{found.short} ({most * minutes:.0f} min to gel is about the slowest sold)"
    if found.sure is not None:
        words = f"a gel time of at least {rounded(found.sure * minutes, side='up')} min"
    cost = "longer before the part can be demoulded; the vacuum must hold to the end of gel"
    return found.named("slower hardener", minutes, "min", words=words, cost=cost, effort=3)


def temperatures() -> FloatArray:
    """Temperatures looked at, in degrees C."""
    return np.linspace(COLDEST_C, WARMEST_C, 26)


def known_temperature(panel: Panel) -> bool:
    """Whether the shop's temperature is known, without which no other can be compared."""
    return panel.resin.temperature_c is not None


def _temperature(case: Case) -> ProcessChange | None:
    part = case.panel.part
    now_c = case.panel.resin.temperature_c
    if now_c is None:
        return None
    if part is not None and part.temperature_c is not None:
        now_c = part.temperature_c

    def change(t: float) -> Change:
        return Change(temperature_c=t)

    grid = temperatures()
    ratios = [drive_ratio(case, change(float(t))) for t in grid]
    best_c = float(grid[int(np.argmax(ratios))])
    found = _reach(case, change, now_c, best_c)
    rough = " (rough: from the halving rule)" if case.panel.resin.gel_second is None else ""
    start = "not enough alone; "
    if found.sure is not None:
        side: Side = "up" if best_c > now_c else "down"
        start = f"{rounded(found.sure, 0, side)} C is enough; "
    best = found.at_furthest
    return found.named(
        "temperature",
        1.0,
        "C",
        words=f"{start}best is {best_c:.0f} C, margin {best.margin:.2f}{rough}",
        cost="a warmer resin is thinner but gels sooner, and a warm pot can run away; tool, stack "
        "and resin must all be at it",
        effort=2,
    )


def _vacuum(case: Case) -> ProcessChange | None:
    drive = case.panel.vacuum.pressure_pa
    if drive is None:
        return None
    most = max((case.panel.vacuum.ambient_pa - BEST_BAG_PA) / drive, 1.0)

    def change(factor: float) -> Change:
        return Change(drive=factor)

    found = _reach(case, change, 1.0, most)
    mbar = drive / 100.0
    words = f"{found.short} ({most * mbar:.0f} mbar is the best here)"
    if found.sure is not None:
        words = f"a pressure difference of at least {rounded(found.sure * mbar, side='up')} mbar"
    cost = "time to find leaks; too deep a vacuum can boil styrene out of polyester and vinyl ester"
    return found.named("better vacuum", mbar, "mbar", words=words, cost=cost, effort=1)
