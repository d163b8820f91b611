"""How often what is learnt of a part lies in its stated interval, over parts drawn at random.

    python tests/bench/part_coverage.py [--parts 60] [--seed 1] [--share 0.5] [--each]

Each part is filled by finite elements that know other values than the plan: all K by one factor
(sd 25 %), each zone by its own (15 %), gap, feed, uneven cloth, resin and vacuum within the
tolerances that a plan takes. It is looked at between 40 and 65 % of its fill time, with noise and
a hidden place. No pictures: arrival is the truth with a camera's noise.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.learn.learnt import Learnt, LearntValue
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import opening_impulses
from analysis.part.flow.filling import fill_plan
from sample_frames._part_flow import fill
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.random_parts import drive_share, random_part, true_numbers
from tests.made_up.parts.scored import at_places

Rows = dict[str, list[tuple[float, bool]]]


def learn(seed: int, share: float | None, rows: Rows, each: bool) -> float:
    """Learn from one part; put relative error and whether it was held under each kind."""
    part = random_part(seed, share)
    job, filled = job_of(part.planned), fill(part.true, step_mm=10.0, px_mm=5.0, seed=part.seed)
    planned = fill_plan(job.plan, opening_impulses(job.plan, job.impulse))
    links = planned.links
    centre = links.centre_mm[: links.cells]
    noise = part.noise * filled.fill_s
    seen = part_seen(
        links,
        at_places(filled, centre[:, 0], centre[:, 1]),
        noise_s=noise,
        sd_s=noise,
        last_s=part.share * filled.fill_s if part.share < 1 else 1.01 * filled.fill_s,
        hidden=part.hides,
    )
    began = time.process_time()
    found = fit_plan(job, bring_on_plan(seen, links))
    took = time.process_time() - began
    words = [f"{seed} {part.share:.2f}", _fill_row(found, filled.fill_s, rows)]
    true = {kind: iter(values) for kind, values in true_numbers(part.true).items()}
    for value in found.values:
        words.append(_value_row(value, next(true[value.kind]), drive_share(part), rows))
    if each:
        print("; ".join(words), f"; {len(found.unlike)} unlike, {took:.1f} s", flush=True)
    return took


def _fill_row(found: Learnt, true_s: float, rows: Rows) -> str:
    off, held = found.fill_time_s / true_s - 1, found.fill_low_s <= true_s <= found.fill_high_s
    rows["fill time"].append((off, held))
    half = (found.fill_high_s - found.fill_low_s) / 2 / true_s
    return f"fill {off:+.3f} +-{half:.3f}{'' if held else ' OUT'}"


def _value_row(value: LearntValue, true: float, drive: float, rows: Rows) -> str:
    """Put a value under its kind; K also as the drive stated has it, without resin and vacuum."""
    held = value.low <= true <= value.high
    off = value.value - true if value.kind == "feed" else value.value / true - 1
    rows[value.kind if value.told else f"{value.kind}, not told"].append((off, held))
    words = (
        f"{value.name[:9]} {off:+.3f}{'' if held else ' OUT'}{'' if value.told else ' not told'}"
    )
    if value.kind == "zone" and value.told:
        seen = value.seen_low <= true * drive <= value.seen_high
        rows["zone as driven"].append((value.value / (true * drive) - 1, seen))
        half = np.log(value.seen_high / value.seen_low) / 2
        words += f" ({value.value / (true * drive) - 1:+.3f} +-{half:.3f}{'' if seen else ' OUT'})"
    return words


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--parts", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=float)
    parser.add_argument("--each", action="store_true")
    asked = parser.parse_args()
    rows: Rows = defaultdict(list)
    first = 1000 * asked.seed
    took = [learn(first + k, asked.share, rows, asked.each) for k in range(asked.parts)]
    print("what                 number    held  median off  90 % within   in 5 %")
    for kind, found in sorted(rows.items()):
        off = np.abs([one for one, _ in found])
        held = np.mean([inside for _, inside in found])
        unit = " mm" if kind.startswith("feed") else ""
        print(
            f"{kind:20} {len(found):6d} {held:7.1%} {np.median(off):11.3f} "
            f"{np.quantile(off, 0.9):12.3f} {np.mean(off <= 0.05):7.1%}{unit}"
        )
    print(f"a fit took {np.median(took):.1f} s of one core, {max(took):.1f} at the most")


if __name__ == "__main__":
    main()
