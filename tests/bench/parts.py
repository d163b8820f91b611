"""How well a part is followed: python tests/bench/parts.py [NAME ...].

Prints, for each made-up part with photos, which share of the part was seen, which share of that
came within 2 % of the fill time, the median error, and the share that is wrong beyond what is
stated; then, for runs known from flow alone, how long before it closes a cut-off was told, and
what was told that does not happen.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.part.plan.part_toml import read_part
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.cut_offs import CUT_OFF, GOOD
from tests.made_up.parts.made_part import made_part, true_filling
from tests.made_up.parts.scored import score_arrival, score_cut_offs


def follow(folder: Path):
    """Follow a part from its photos."""
    from analysis.infusion.seen.part_setup import part_camera
    from vision.parts.track_part import track_part_folder

    return track_part_folder(part_camera(read_part(folder), folder), quiet=True).seen


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


def cut_offs(as_planned: bool) -> None:
    """Print the scores of areas cut off, with the plan's own forecast, not corrected."""
    print("cut-offs, the plan as it was:" if as_planned else "cut-offs, the plan unlike it:")
    early, alarms = 0, 0
    for name in CUT_OFF:
        score = score_cut_offs("cut off", name, as_planned)
        early += score.lead_min >= 2.0
        closes = score.closing.time_s / 60 if score.closing else float("nan")
        print(
            f"cut off: {name:22} closes at {closes:5.1f} min, told {score.lead_min:5.1f} min "
            f"before; told of elsewhere {score.false_alarms} times"
        )
    for name in GOOD:
        score = score_cut_offs("good", name, as_planned)
        alarms += score.false_alarms > 0
        print(f"good:    {name:22} {score.false_alarms} false alarms")
    print(f"told two minutes ahead: {early} of {len(CUT_OFF)}")
    print(f"good runs with a false alarm: {alarms} of {len(GOOD)}")


def main() -> None:
    """Score the parts named, or all."""
    names = sys.argv[1:] or list(CASES)
    unknown = [name for name in names if name not in CASES]
    if unknown:
        sys.exit(f"no such part: {unknown[0]}; there are {', '.join(CASES)}")
    arrivals(names)
    for as_planned in (True, False):
        cut_offs(as_planned)


if __name__ == "__main__":
    main()
