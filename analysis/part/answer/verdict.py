"""Whether a part fills in time: one word, one sentence, and what to change if it does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fit.impulse import Impulse
from analysis.fit.mixture_regression import Z_95
from analysis.panel.records import Resin, Vacuum
from analysis.part.answer.clock import Clock
from analysis.part.flow.trapped import TrappedAir
from vision.common.rounding import minutes, rounded

BEST_BAG_PA = 1000.0
"""Absolute pressure a good pump and a tight bag reach, 10 mbar (common practice, no source)."""
THINNEST_PA_S = 0.1
"""Infusion resins start at 100 mPa s or more (Summerscales, University of Plymouth, lecture notes
on rheology)."""
LONGEST_GEL_S = 4 * 3600.0
"""Slow hardeners that are sold gel in up to about four hours (common practice, no source)."""


@dataclass(frozen=True)
class PartTimes:
    """The fill time of a part, were there a vent wherever air ends.

    Attributes
    ----------
    time_s, low_s, high_s : float
        Best estimate and 95 % interval; infinity where the resin stiffens first.
    """

    time_s: float
    low_s: float
    high_s: float


@dataclass(frozen=True)
class PartVerdict:
    """The verdict on a part.

    Attributes
    ----------
    word : {"fills", "tight", "gels first", "traps air", "cannot decide"}
    reason : str
    may_gel_first : bool
        Whether the 95 % intervals hold a fill that gels before its end.
    """

    word: str
    reason: str
    may_gel_first: bool = False


@dataclass(frozen=True)
class Change:
    """One thing to change.

    Attributes
    ----------
    name : str
    enough : bool
        Whether it alone makes the part fill in the working time, at the 95 % bound.
    say : str
        How far it must go, or how far it can go.
    """

    name: str
    enough: bool
    say: str


def judge_part(
    clock: Clock, times: PartTimes, trapped: tuple[TrappedAir, ...], part_mm2: float
) -> PartVerdict:
    """Return the verdict on a part.

    Parameters
    ----------
    clock : Clock
    times : PartTimes
    trapped : tuple of TrappedAir
    part_mm2 : float
        Area of the part.

    Notes
    -----
    "gels first": the fill time itself is beyond the gel time. "traps air": air is cut off from
    every vent, so that the part never fills, however fast. "fills": the fill time's upper bound is
    within the working time, and not one fill in forty gels before its end. "tight": between. The
    doubts of fill time and gel time are independent and add in squares (JCGM 100:2008, 5.1.2).
    """
    air = _air(trapped, part_mm2)
    also = f"; besides, {air}" if air else ""
    if not np.isfinite(times.time_s):
        return PartVerdict("gels first", f"the resin stiffens before all is wet{also}")
    timed = _against_gel(clock, times)
    if timed is not None and timed.word == "gels first":
        return PartVerdict(timed.word, timed.reason + also)
    if air:
        late = "; and it may gel first" if timed is not None and timed.may_gel_first else ""
        vents = "a vent there" if sum(len(one.ends_mm) for one in trapped) == 1 else "vents there"
        with_vent = f"with {vents} all is wet after {minutes(times.time_s)}"
        return PartVerdict("traps air", f"{air}; {with_vent}{late}", bool(late))
    if timed is None:
        return PartVerdict(
            "cannot decide",
            "no gel time to hold the fill time against: add gel_time_min to [resin]",
        )
    return timed


def _air(trapped: tuple[TrappedAir, ...], part_mm2: float) -> str:
    """Return in words where air is trapped; empty where none is."""
    if not trapped:
        return ""
    share = 100 * sum(air.area_mm2 for air in trapped) / part_mm2
    spots = [f"(x {x:.0f}, y {y:.0f})" for air in trapped for x, y in air.ends_mm]
    places = "area" if len(trapped) == 1 else "areas"
    return (
        f"air is trapped in {len(trapped)} {places}, {rounded(share, 1 if share < 10 else 0)} % of "
        f"the part, and ends at {', '.join(spots)}"
    )


def _against_gel(clock: Clock, times: PartTimes) -> PartVerdict | None:
    """Return the verdict on the time alone, None where no gel time is known."""
    if clock.gel_s is None or clock.working_s is None:
        return None
    time, high = minutes(times.time_s), minutes(times.high_s, "up")
    work, gel = minutes(clock.working_s, "down"), minutes(clock.gel_s, "down")
    if times.time_s > clock.gel_s:
        low = minutes(times.low_s, "down")
        return PartVerdict(
            "gels first",
            f"all is wet after {time} (95 %: {low} or more), but the resin gels at {gel}",
        )
    sure = _before_gel(clock.gel_s, clock.gel_sd, times)
    if sure and times.high_s <= clock.working_s:
        return PartVerdict(
            "fills", f"all is wet after {time} (95 %: at most {high}); working time is {work}"
        )
    said = f"all is wet after {time} (95 %: up to {high}); working time is {work}, gel at {gel}"
    if sure:
        return PartVerdict("tight", said)
    early = minutes(clock.gel_s * np.exp(-Z_95 * clock.gel_sd), "down")
    return PartVerdict("tight", f"{said}, perhaps at {early}", True)


def _before_gel(gel_s: float, gel_sd: float, times: PartTimes) -> bool:
    """Return whether fewer than one fill in forty gels before its end."""
    if not np.isfinite(times.high_s) or gel_s <= 0:
        return False
    doubt = np.hypot(Z_95 * gel_sd, np.log(times.high_s / times.time_s))
    return bool(np.log(gel_s / times.time_s) >= doubt)


def changes(clock: Clock, impulse_high: float, vacuum: Vacuum, resin: Resin) -> tuple[Change, ...]:
    """Return what a shop can change so that the part fills in time, the least trouble first.

    Parameters
    ----------
    clock : Clock
    impulse_high : float
        Impulse to full at its upper bound.
    vacuum : Vacuum
    resin : Resin

    Notes
    -----
    Only what a pump reaches and a supplier sells is named; for the rest it says that it is not
    enough.
    """
    if clock.working_s is None or clock.working_s <= 0:
        return ()
    had = float(clock.impulse.at(clock.working_s))
    need = impulse_high / had
    if need <= 1.0:
        return ()
    found = [_vacuum(need, vacuum), _slower(clock.impulse, impulse_high, resin)]
    if resin.viscosity_pa_s is not None:
        found.append(_thinner(need, resin.viscosity_pa_s))
    named = [change for change in found if change is not None]
    return tuple(sorted(named, key=lambda change: not change.enough))


def _vacuum(need: float, vacuum: Vacuum) -> Change | None:
    if vacuum.pressure_pa is None:
        return None
    best = vacuum.ambient_pa - BEST_BAG_PA
    if best <= vacuum.pressure_pa:
        return None
    wanted = need * vacuum.pressure_pa
    if wanted <= best:
        return Change("vacuum", True, f"{rounded(wanted / 100, side='up')} mbar of drive is enough")
    gain = 100 * (best / vacuum.pressure_pa - 1)
    return Change(
        "vacuum", False, f"the best a pump does, {best / 100:.0f} mbar, gains {gain:.0f} %"
    )


def _slower(impulse: Impulse, impulse_high: float, resin: Resin) -> Change:
    needed = float(impulse.time_of(impulse_high)) + resin.mixed_before_start_s
    wanted = needed / resin.working_share
    if wanted <= LONGEST_GEL_S:
        return Change(
            "slower hardener", True, f"a gel time of {minutes(wanted, 'up')} or more is enough"
        )
    return Change("slower hardener", False, "no hardener that is sold is slow enough")


def _thinner(need: float, viscosity_pa_s: float) -> Change | None:
    wanted = viscosity_pa_s / need
    if viscosity_pa_s <= THINNEST_PA_S:
        return None
    if wanted >= THINNEST_PA_S:
        return Change(
            "thinner resin", True, f"{rounded(1000 * wanted, side='down')} mPa s or less is enough"
        )
    return Change("thinner resin", False, "no infusion resin is thin enough")
