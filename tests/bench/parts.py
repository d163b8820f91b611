"""How well a part is followed: python tests/bench/parts.py [NAME ...].

Prints, for each made-up part with photos, which share of the part was seen, which share of that
came within 2 % of the fill time, the median error, and the share that is wrong beyond what is
stated; what the plan learns from the true arrival, seen whole and half; then, for runs known from
flow alone, how long before it closes a cut-off was told, and what was told that does not happen,
then with a hose laid over each.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import opening_impulses
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import read_part
from sample_frames._part_world import World
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.cut_offs import (
    CUT_OFF,
    GOOD,
    HOSES,
    flow_case,
    job_of,
    nearly,
    otherwise,
)
from tests.made_up.parts.made_part import made_part, true_filling
from tests.made_up.parts.scored import at_places, score_arrival, score_cut_offs


def follow(folder: Path):
    """Follow a part from its photos."""
    from analysis.infusion.seen.part_setup import part_camera
    from vision.parts.track_part import track_part_folder

    return track_part_folder(part_camera(read_part(folder)), quiet=True).seen


def arrivals(names: list[str]) -> None:
    """Print the scores of arrival."""
    rooms = ("vision.parts", "vision.parts.track_part", "analysis.infusion.seen.part_setup")
    for room in rooms:
        if importlib.util.find_spec(room) is None:
            print(f"arrival: not scored, there is no {room} yet")
            return
    print(f"{'part':18} {'seen':>6} {'in 2 %':>7} {'median':>7} {'silent':>7} {'s':>6}")
    for name in names:
        folder = made_part(name)
        began = time.perf_counter()
        seen = follow(folder)
        took = time.perf_counter() - began
        if not seen.usable:
            print(f"{name:18} refused: {seen.reason}")
            continue
        score = score_arrival(seen, true_filling(name))
        print(
            f"{name:18} {score.seen_share:6.1%} {score.within_share:7.1%} "
            f"{score.median_off:7.2%} {score.silent_share:7.2%} {took:6.1f}"
        )


def learnt(names: list[str]) -> None:
    """Print what the plan learns from the true arrival, all of it and half of it, with 2 s noise.

    No camera here: what is scored is the fit, against finite elements that know another value.
    """
    if importlib.util.find_spec("analysis.infusion.learn") is None:
        print("learning: not scored, there is no analysis.infusion.learn yet")
        return
    from analysis.infusion.learn.fit_plan import fit_plan

    for name in names:
        recipe, filled = CASES[name], true_filling(name)
        job = job_of(recipe.planned)
        links = fill_plan(job.plan, opening_impulses(job.plan, job.impulse)).links
        centre = links.centre_mm[: links.cells]
        arrival = at_places(filled, centre[:, 0], centre[:, 1])
        opened = [filled.opened_s[feed.name] for feed in job.plan.feeds]
        for share in (1.0, 0.5):
            last = share * filled.fill_s if share < 1 else None
            on = bring_on_plan(part_seen(links, arrival, noise_s=2.0, last_s=last), links)
            been = [at if last is None or at <= last else None for at in opened]
            began = time.perf_counter()
            found = fit_plan(job, on, opened_s=been)
            took = time.perf_counter() - began
            off = found.fill_time_s / filled.fill_s - 1
            held = found.fill_low_s <= filled.fill_s <= found.fill_high_s
            words = f"fill time {off:+6.1%}, {'in' if held else 'OUTSIDE'} its interval; "
            print(f"{name:18} seen {share:4.0%}: {words if last else ''}{took:.1f} s")
            for value, true in zip(found.values, true_values(recipe.true), strict=True):
                if not value.told:
                    print(f"    {value.name:22} can't be told")
                    continue
                off_text = f"{value.value / true - 1:+6.1%}" if true else f"{value.value:6.1f} of 0"
                inside = value.low <= true <= value.high
                print(f"    {value.name:22} {off_text}, {'in' if inside else 'OUTSIDE'} interval")


def true_values(world: World) -> list[float]:
    """Return K of the stack and the zones, widths of gaps and resistances of feeds, in order."""
    layups = [world.layup, *(patch.layup for patch in world.patches)]
    return [
        *(layup.k1_m2 for layup in layups),
        *(slot.width_mm for slot in world.slots),
        *(inlet.resistance_mm for inlet in world.inlets),
    ]


def cut_offs(as_planned: bool) -> None:
    """Print the scores of areas cut off, with the plan's own forecast, not corrected."""
    plan = () if as_planned else (otherwise,)
    print("cut-offs, the plan as it was:" if as_planned else "cut-offs, the plan unlike it:")
    early, alarms = 0, 0
    for name in CUT_OFF:
        score = score_cut_offs("cut off", name, *plan)
        early += score.lead_min >= 2.0
        closes = score.closing.time_s / 60 if score.closing else float("nan")
        print(
            f"cut off: {name:22} closes at {closes:5.1f} min, told {score.lead_min:5.1f} min "
            f"before; told of elsewhere {score.false_alarms} times"
        )
    for name in GOOD:
        score = score_cut_offs("good", name, *plan)
        alarms += score.false_alarms > 0
        print(f"good:    {name:22} {score.false_alarms} false alarms")
    print(f"told two minutes ahead: {early} of {len(CUT_OFF)}")
    print(f"good runs with a false alarm: {alarms} of {len(GOOD)}")


def by_chance(count: int = 75) -> None:
    """Print the alarms in parts made by chance, the forecast as good as a learnt one."""
    alarms, good = [], 0
    for number in range(count):
        if flow_case("number", str(number))[2]:
            continue  # something is cut off there, or the plan itself does it
        good += 1
        score = score_cut_offs("number", str(number), partial(nearly, seed=number + 1000), 8)
        alarms += [number] if score.false_alarms else []
    print(f"parts by chance in which nothing is cut off, with a false alarm: {alarms} of {good}")


def under_hoses() -> None:
    """Print the scores with a hose laid over each run, what lies under it never seen to wet."""
    learnt_plan = partial(nearly, seed=5)
    for hose in HOSES:
        cut = [score_cut_offs("cut off", name, learnt_plan, 8, hose) for name in CUT_OFF]
        good = [score_cut_offs("good", name, learnt_plan, 8, hose) for name in GOOD]
        false = [sum(s.false_alarms for s in scores) for scores in (cut, good)]
        may = [sum(s.false_may for s in scores) for scores in (cut, good)]
        print(
            f"hose {hose:6}: told {min(s.lead_min for s in cut):.1f} min before or more; false "
            f"alarms {false[0]} and in good runs {false[1]}, told as what may be {may[0]} and "
            f"{may[1]} times"
        )


def main() -> None:
    """Score the parts named, or all."""
    names = sys.argv[1:] or list(CASES)
    unknown = [name for name in names if name not in CASES]
    if unknown:
        sys.exit(f"no such part: {unknown[0]}; there are {', '.join(CASES)}")
    arrivals(names)
    learnt(names)
    for as_planned in (True, False):
        cut_offs(as_planned)
    by_chance()
    under_hoses()


if __name__ == "__main__":
    main()
