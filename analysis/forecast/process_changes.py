"""What could be changed so that the part fills in time, and by how much it must change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from analysis.forecast.what_if import Case, Change, Outcome, drive_ratio, outcome
from analysis.panel.records import Panel
from vision.records import FloatArray

BEST_BAG_PA = 1000.0
"""Absolute pressure a good pump and a tight bag reach, 10 mbar (common practice, no source)."""
COLDEST_C, WARMEST_C = 10.0, 45.0
"""Range of temperatures a shop can hold (common practice, no source)."""
MOST_CURE, MOST_SPEED = 20.0, 200.0


@dataclass(frozen=True)
class Lever:
    """One thing to change.

    Attributes
    ----------
    name : str
        What to change.
    enough : bool
        Whether it alone makes the part fill in the working time, at the 95 % bound.
    needed : float or None
        How far it must go to be enough, in the unit `unit`; None where it cannot be enough.
    likely : float or None
        How far it must go by the best estimate.
    unit : str
        Unit of the two.
    outcome : Outcome
        Fill time and margin with the change at `needed`, or at its furthest.
    say, cost : str
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
    say: str
    cost: str
    effort: int


def all_levers(case: Case, media_ratio: float | None = None) -> list[Lever]:
    """Work out every lever, those that are enough first, then by trouble.

    Parameters
    ----------
    case : Case
        Panel, fit and part.
    media_ratio : float, optional
        K / porosity with flow media over that without, measured on another panel.
    """
    levers = [
        _vacuum(case),
        _temperature(case),
        _hardener(case),
        _middle(case),
        _media(case, media_ratio),
        _second_line(case),
        _shorter(case),
    ]
    found = [lever for lever in levers if lever is not None]
    return sorted(found, key=lambda lever: (not lever.enough, lever.effort))


def _solve(
    case: Case, change: Callable[[float], Change], low: float, high: float, sure: bool
) -> float | None:
    """Least value between `low` and `high` that brings the margin to 1; None if none does.

    The margin must rise from `low` to `high`; `low` may be the larger number.
    """

    def gap(value: float) -> float:
        found = outcome(case, change(value))
        margin = found.margin_low if sure else found.margin
        return float(np.log(max(margin, 1e-12)))

    if gap(low) >= 0:
        return low
    if gap(high) < 0:
        return None
    return float(brentq(gap, low, high, xtol=1e-6 * max(abs(low), abs(high))))


def _both(
    case: Case, change: Callable[[float], Change], low: float, high: float
) -> tuple[float | None, float | None]:
    return _solve(case, change, low, high, True), _solve(case, change, low, high, False)


def _text(value: float | None, form: str, otherwise: str) -> str:
    return otherwise if value is None else form.format(value)


def _shorter(case: Case) -> Lever:
    def change(share: float) -> Change:
        return Change(length=share)

    sure, likely = _both(case, change, 1.0, 1e-3)
    at = outcome(case, change(sure if sure is not None else 1e-3))
    mm = case.length_m * 1000.0
    return Lever(
        "shorter run", sure is not None, _times(sure, mm), _times(likely, mm), "mm", at,
        _text(_times(sure, mm), "run at most {:.0f} mm", "no run is short enough"),
        "the part must be split, or fed and vented at more places",
        7,
    )  # fmt: skip


def _middle(case: Case) -> Lever | None:
    if case.panel.part is not None and case.panel.part.feed == "point":
        return None
    at = outcome(case, Change(length=0.5, feeds=2.0))
    enough = at.margin_low >= 1.0
    return Lever(
        "feed from the middle", enough, case.length_m * 500.0 if enough else None,
        case.length_m * 500.0 if at.margin >= 1.0 else None, "mm", at,
        f"one line along the middle: {case.length_m * 500:.0f} mm to either side, about a quarter "
        "of the time",
        "a feed line on the part can print through; vents are needed on both sides",
        4,
    )  # fmt: skip


def _second_line(case: Case) -> Lever | None:
    if case.panel.part is not None and case.panel.part.feed == "point":
        return None

    def change(share: float) -> Change:
        return Change(length=share, feeds=2.0)

    sure, likely = _both(case, change, 2.0, 1e-3)
    length_mm = case.length_m * 1000.0
    spacing, likely_mm = _times(sure, 2.0 * length_mm), _times(likely, 2.0 * length_mm)
    lines = 2 if spacing is None else max(1, int(np.ceil(length_mm / spacing - 1e-9)))
    many = "one line in the middle" if lines == 1 else f"{lines} lines over the {length_mm:.0f} mm"
    at = outcome(case, change(0.5 / lines))
    return Lever(
        "more feed lines", sure is not None, spacing, likely_mm, "mm", at,
        _text(
            spacing,
            many + " will do; lines may be at most {:.0f} mm apart",
            "no spacing is close enough",
        ),
        "each line can print through and traps air if it is opened before the front arrives",
        6,
    )  # fmt: skip


def _media(case: Case, ratio: float | None) -> Lever:
    def change(speed: float) -> Change:
        return Change(speed=speed)

    sure, likely = _both(case, change, 1.0, MOST_SPEED)
    cost = (
        "more resin and waste, faster flow can cost surface finish, and the front in the media "
        "runs ahead of the tool side: let it end before the vent"
    )
    if ratio is not None:
        at = outcome(case, change(ratio))
        return Lever(
            "flow media", at.margin_low >= 1.0, sure, likely, "times the speed", at,
            f"the measured media makes the stack {ratio:.1f} times as fast; "
            + _text(sure, "{:.1f} times is enough", "that is not enough"),
            cost, 5,
        )  # fmt: skip
    at = outcome(case, change(sure if sure is not None else MOST_SPEED))
    return Lever(
        "flow media", sure is not None, sure, likely, "times the speed", at,
        _text(
            sure,
            "media that makes the stack at least {:.1f} times as fast",
            "no usual media is fast enough",
        ),
        cost, 5,
    )  # fmt: skip


def _hardener(case: Case) -> Lever:
    def change(cure: float) -> Change:
        return Change(cure=cure)

    sure, likely = _both(case, change, 1.0, MOST_CURE)
    minutes = case.gel.gel_s / 60.0
    at = outcome(case, change(sure if sure is not None else MOST_CURE))
    return Lever(
        "slower hardener", sure is not None, _times(sure, minutes), _times(likely, minutes), "min",
        at,
        _text(_times(sure, minutes), "a gel time of at least {:.0f} min", "no hardener is so slow"),
        "longer before the part can be demoulded; the vacuum must hold to the end of gel",
        3,
    )  # fmt: skip


def temperatures() -> FloatArray:
    """Temperatures looked at, in degrees C."""
    return np.linspace(COLDEST_C, WARMEST_C, 36)


def slack(case: Case) -> list[str]:
    """Say how far a plan that fits could be eased and still fit, in plain words."""
    out = []
    cure = _solve(case, lambda v: Change(cure=v), 0.05, 1.0, True)
    if cure is not None:
        out.append(f"gel time could be as short as {cure * case.gel.gel_s / 60:.0f} min")
    run = _solve(case, lambda v: Change(length=v), 20.0, 1.0, True)
    if run is not None:
        out.append(f"the run could be as long as {run * case.length_m * 1000:.0f} mm")
    drive = case.panel.vacuum.pressure_pa
    weak = _solve(case, lambda v: Change(drive=v), 0.05, 1.0, True)
    if weak is not None and drive is not None:
        out.append(
            f"a pressure difference of {weak * drive / 100:.0f} mbar would still do (but a weak "
            "vacuum leaves voids)"
        )
    speed = _solve(case, lambda v: Change(speed=v), 0.01, 1.0, True)
    if speed is not None:
        out.append(f"a stack or resin {1 / speed:.1f} times as slow would still fill")
    return out


def known_temperature(panel: Panel) -> bool:
    """Whether the shop's temperature is known, without which no other can be compared."""
    return panel.resin.temperature_c is not None


def _temperature(case: Case) -> Lever | None:
    now_c = case.panel.resin.temperature_c
    if now_c is None:
        return None
    grid = temperatures()
    ratios = [drive_ratio(case, Change(temperature_c=float(t))) for t in grid]
    best_c = float(grid[int(np.argmax(ratios))])
    best = outcome(case, Change(temperature_c=best_c))

    def change(t: float) -> Change:
        return Change(temperature_c=t)

    sure, likely = _both(case, change, now_c, best_c)
    rough = " (rough: from the halving rule)" if case.panel.resin.gel_second is None else ""
    at = best if sure is None else outcome(case, change(sure))
    say = _text(sure, "{:.0f} C is enough; ", "not enough alone; ")
    return Lever(
        "temperature", sure is not None, sure, likely, "C", at,
        say + f"best is {best_c:.0f} C, margin {best.margin:.2f}{rough}",
        "a warmer resin is thinner but gels sooner, and a warm pot can run away; tool, stack and "
        "resin must all be at it",
        2,
    )  # fmt: skip


def _vacuum(case: Case) -> Lever | None:
    drive = case.panel.vacuum.pressure_pa
    if drive is None:
        return None
    most = max((case.panel.vacuum.ambient_pa - BEST_BAG_PA) / drive, 1.0)

    def change(factor: float) -> Change:
        return Change(drive=factor)

    sure, likely = _both(case, change, 1.0, most)
    mbar = drive / 100.0
    at = outcome(case, change(most if sure is None else sure))
    best = outcome(case, change(most))
    return Lever(
        "better vacuum", sure is not None, _times(sure, mbar), _times(likely, mbar), "mbar", at,
        _text(
            _times(sure, mbar),
            "a pressure difference of at least {:.0f} mbar",
            f"not enough alone: the best here, {most * mbar:.0f} mbar, gives a margin of "
            f"{best.margin:.2f}",
        ),
        "time to find leaks; too deep a vacuum can boil styrene out of polyester and vinyl ester",
        1,
    )  # fmt: skip


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def curves(case: Case) -> dict[str, tuple[str, FloatArray, list[Outcome]]]:
    """Margin along each lever, for the plot: name to axis label, values and outcomes."""
    length_mm = case.length_m * 1000.0
    lengths = np.linspace(0.2, 1.5, 40)
    speeds = np.geomspace(0.5, 20.0, 40)
    cures = np.linspace(0.4, 3.0, 40)
    out: dict[str, tuple[str, FloatArray, list[Outcome]]] = {
        "run": (
            "flow length, mm",
            lengths * length_mm,
            [outcome(case, Change(length=float(v))) for v in lengths],
        ),
        "lines": (
            "distance between feed lines, mm",
            2.0 * lengths * length_mm,
            [outcome(case, Change(length=float(v), feeds=2.0)) for v in lengths],
        ),
        "media": (
            "speed of the stack, times today's",
            speeds,
            [outcome(case, Change(speed=float(v))) for v in speeds],
        ),
        "hardener": (
            "gel time, min",
            cures * case.gel.gel_s / 60.0,
            [outcome(case, Change(cure=float(v))) for v in cures],
        ),
    }
    drive = case.panel.vacuum.pressure_pa
    if drive is not None:
        factors = np.linspace(0.5, max(case.panel.vacuum.ambient_pa / drive, 1.0), 40)
        mbar = factors * drive / 100.0
        out["vacuum"] = (
            "pressure difference, mbar",
            mbar,
            [outcome(case, Change(drive=float(v))) for v in factors],
        )
    if known_temperature(case.panel):
        grid = temperatures()
        out["temperature"] = (
            "temperature, C",
            grid,
            [outcome(case, Change(temperature_c=float(t))) for t in grid],
        )
    return out
