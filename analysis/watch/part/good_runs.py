"""A part that fills beside good runs of it: its wet share, and each place, against their bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.infusion.outlook.numbers import PartNumbers
from analysis.part.plan.part_toml import read_part
from analysis.part.plan.plan import PartPlan
from analysis.runs.part_repeat.part_runs import SAME_MM, PartRun, other_plan, read_part_run
from analysis.runs.part_repeat.places import (
    OddPlace,
    PlaceBand,
    grid_of,
    judge_places,
    place_band,
)
from analysis.runs.part_repeat.words import EARLY_CAUSES, LATE_CAUSES
from analysis.runs.parts.part_facts import refuse_copy, refuse_unlike
from analysis.runs.repeat.band import LEAST_OWN, Band, good_band
from analysis.watch.alarms import LOOK, Alarm
from vision.common.rounding import lapse
from vision.errors import WetlineError
from vision.part_records import PartSeen

UNIT = "% wet"
FEW = f"place by place from {LEAST_OWN} good runs on"


@dataclass(frozen=True)
class GoodRuns:
    """Good runs of a part, and what they allow.

    Attributes
    ----------
    count : int
    band : Band
        Of the time at which each percent of the part is wet.
    places : PlaceBand or None
        None with fewer than three runs, or with too few places in common.
    """

    count: int
    band: Band
    places: PlaceBand | None


@dataclass(frozen=True)
class BesideGood:
    """How a part stands against good runs, now.

    Attributes
    ----------
    text : str
        The wet share beside theirs, in words.
    ahead_percent : float or None
        Percent of the part by which it is ahead of their middle; None once they were full.
    low_percent, high_percent : float or None
        Their band at this time.
    inside : bool
    places_text : str
        What can be said place by place.
    odd : tuple of OddPlace
        Places outside the band, the largest first.
    """

    text: str
    ahead_percent: float | None
    low_percent: float | None
    high_percent: float | None
    inside: bool
    places_text: str
    odd: tuple[OddPlace, ...] = ()


def read_good_runs(good: Sequence[Path | PartRun], plan: PartPlan) -> GoodRuns | None:
    """Return what good runs of a part allow.

    Parameters
    ----------
    good : sequence of Path or PartRun
        Their folders, or the runs where they have been read.
    plan : PartPlan
        Of the part that is watched.

    Returns
    -------
    GoodRuns or None
        None where no folder is named.

    Raises
    ------
    WetlineError
        If a folder was not run, its run is in doubt, one run comes twice, or it is another part
        or another plan.
    """
    runs = [
        replace(one, label=f"P{k}") if isinstance(one, PartRun) else read_part_run(one, f"P{k}")
        for k, one in enumerate(good, start=1)
    ]
    if not runs:
        return None
    for run in runs:
        _refuse(run.facts.folder, run.why or _other_part(plan, run))
    refuse_unlike([run.facts for run in runs])
    curves = [run.reference for run in runs if run.reference is not None]
    places = place_band(grid_of(plan), [run.facts.kept.arrival for run in runs])
    return GoodRuns(len(runs), good_band(curves, unit=UNIT), places)


def check_good_runs(folders: Sequence[Path]) -> None:
    """Find out whether folders are good runs of parts, of whichever parts and plans.

    Raises
    ------
    WetlineError
        If a folder was not run, its run is in doubt, or one run comes twice.
    """
    runs = [read_part_run(folder, f"P{k}") for k, folder in enumerate(folders, start=1)]
    for k, (folder, run) in enumerate(zip(folders, runs, strict=True)):
        _refuse(folder, run.why)
        refuse_copy(run.facts, [other.facts for other in runs[:k]])


def runs_of_plan(
    folders: Sequence[Path], watched: Path
) -> tuple[tuple[PartRun, ...], tuple[str, ...]]:
    """Return the good runs that are of a part's own plan, and a line on why each other is not.

    Parameters
    ----------
    folders : sequence of Path
    watched : Path
        The folder of the part that is watched; it is no good run of itself.

    Raises
    ------
    WetlineError
        If the watched part cannot be read.
    """
    plan, own, left_out = read_part(watched / "part.toml").plan, [], []
    for folder in folders:
        try:
            if folder.resolve() == watched.resolve():
                raise WetlineError("it is the run that is watched")
            run = read_part_run(folder, "P1")
            if why := run.why or _other_part(plan, run):
                raise WetlineError(why)
            own.append(run)
        except WetlineError as error:  # such as that it has changed since the page was opened
            left_out.append(f"{folder.resolve().name}: {error}")
    return tuple(own), tuple(left_out)


def _refuse(folder: Path, why: str) -> None:
    if why:
        raise WetlineError(f"{folder}: --like: is no good run to go by: {why}: leave it out")


def _other_part(plan: PartPlan, run: PartRun) -> str:
    """Return what is unlike the part that is watched; empty where nothing is."""
    own, other = ([one.outline_mm, *one.holes_mm] for one in (plan, run.facts.kept.job.plan))
    same = len(own) == len(other) and all(
        a.shape == b.shape and np.allclose(a, b, rtol=0.0, atol=SAME_MM)
        for a, b in zip(own, other, strict=True)
    )
    if not same:
        return "its outline or holes are not those of this part"
    return other_plan(plan, run.plan).replace("the first good run", "this part")


def beside_good(good: GoodRuns, seen: PartSeen, numbers: PartNumbers) -> BesideGood | None:
    """Compare a part with good runs of it; None where nothing is measured, or it is full.

    Parameters
    ----------
    good : GoodRuns
    seen : PartSeen
        The latest look.
    numbers : PartNumbers
        Of the same look.
    """
    share, left = numbers.wetted_share, numbers.left
    if share is None or left is None or left.filled or not seen.usable or numbers.last_s <= 0:
        return None
    places_text = FEW
    odd: tuple[OddPlace, ...] = ()
    if good.places is not None:
        judged = judge_places(good.places, seen)
        odd = judged.odd
        places_text = _places_text(judged.share, odd)
    elif good.count >= LEAST_OWN:
        places_text = "too few places were seen in all good runs to judge them one by one"
    return replace(_share_beside(good, numbers), places_text=places_text, odd=odd)


def _share_beside(good: GoodRuns, numbers: PartNumbers) -> BesideGood:
    """Return how the wet share stands against the band of the good runs."""
    what = "the good run" if good.count == 1 else f"{good.count} good runs"
    percent, slack = 100.0 * (numbers.wetted_share or 0.0), 200.0 * (numbers.wetted_sd or 0.0)
    band, now_s = good.band, numbers.last_s
    middle, low, high = (float(v[0]) for v in band.front_mm(np.array([now_s])))
    if not np.isfinite(middle):
        # By now their middle was as far as they are known; the slow ones may be on their way.
        far = float(band.distance_mm[-1])
        inside = percent + slack >= float(np.interp(now_s, band.late_s, band.distance_mm))
        judged = "may still be one like them" if inside else "is OUTSIDE their band"
        text = f"by now {what} had {far:.0f} % wet or more; this run {judged}"
        return BesideGood(text, None, None, None, inside, "")
    inside = low - slack <= percent <= high + slack
    by, side = abs(percent - middle), "ahead of" if percent >= middle else "behind"
    stands = f"{by:.0f} % of the part {side}" if by >= 0.5 else "level with"
    judged = "inside their band" if inside else "OUTSIDE their band"
    text = f"{stands} {what}, {judged} ({low:.0f} to {high:.0f} % wet by now)"
    return BesideGood(text, percent - middle, low, high, inside, "")


def _places_text(share: float, odd: Sequence[OddPlace]) -> str:
    """Return what was found place by place, in one line."""
    if not share:
        return "too little is wet yet to judge single places"
    if not odd:
        return f"no place is outside their band ({100 * share:.0f} % of the part compared)"
    word = "late" if odd[0].late_s > 0 else "early"
    more = len(odd) - 1
    rest = f", and {more} more {'place' if more == 1 else 'places'}" if more else ""
    return f"{word} {odd[0].where}{rest}"


def good_alarms(now: BesideGood | None, before: BesideGood | None) -> list[Alarm]:
    """List places that two looks have early or late against good runs, one for each side.

    Parameters
    ----------
    now, before : BesideGood or None
        Of this look and the one before.
    """
    if now is None or before is None:
        return []
    found = []
    for word, sign in (("late", 1.0), ("early", -1.0)):
        places = [one for one in now.odd if sign * one.late_s > 0 and _again(one, before.odd)]
        if places:
            found.append(_odd(word, places[0]))
    return found


def _again(place: OddPlace, before: Sequence[OddPlace]) -> bool:
    return any(bool((place.cells & other.cells).any()) for other in before)


def _odd(word: str, place: OddPlace) -> Alarm:
    text = f"A place is {word} against the good runs: {place.where}"
    least = "at least " if place.at_least else ""
    causes = LATE_CAUSES if word == "late" else EARLY_CAUSES
    todo = (
        f"{least}{lapse(place.late_s)} at this run's pace, x {place.x_mm:.0f}, "
        f"y {place.y_mm:.0f} mm. What usually does that: {causes}."
    )
    return Alarm(f"odd {word}", LOOK, text, todo[:1].upper() + todo[1:])
