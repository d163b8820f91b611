"""Rendered runs of one part against good ones of it: what is called unlike them.

    python tests/bench/part_repeat.py [--good 5] [--seed 5]

The strip with a doubler is filled and photographed anew for each run: good ones with a K of their
own (5 % from run to run, 3 % more in the doubler, uneven cloth), then one more like them, one whose
doubler holds half the K, one with 0.6 of the K throughout, and a good one with a person leaning
over it. Prints each answer, its pace and the places outside the band. Some 15 s a run.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.infusion.answer.run_job import run_part
from analysis.runs.part_repeat.job import judge_part_folders
from analysis.runs.repeat.text import head
from sample_frames._part_make import make_part
from sample_frames._part_world import Layup
from tests.made_up.parts.cases import CASES

BASE = CASES["strip_zone"]


def scaled(layup: Layup, factor: float) -> Layup:
    """Return a lay-up with another K."""
    return replace(layup, k1_m2=layup.k1_m2 * factor, k2_m2=layup.k2_m2 * factor)


def make(folder: Path, seed: int, k: float = 1.0, doubler: float = 1.0, **other: Any) -> Path:
    """Fill, photograph and follow the strip once."""
    world, patch = BASE.true, BASE.true.patches[0]
    patch = replace(patch, layup=scaled(patch.layup, k * doubler))
    world = replace(world, layup=scaled(world.layup, k), patches=(patch,), log_sd=0.05)
    make_part(replace(BASE, true=world, seed=seed, **other), folder, lambda text: None)
    run_part(folder)
    return folder


def main() -> None:
    """Make the runs and judge them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--good", type=int, default=5)
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    person = {k: {"person": (0.4, 0.5)} for k in (9, 10, 11)}
    odd: dict[str, dict[str, Any]] = {
        "like them": {"k": 1.02},
        "doubler 0.5": {"doubler": 0.5},
        "all 0.6": {"k": 0.6},
        "person": {"moments": person},
    }
    with tempfile.TemporaryDirectory() as home:
        good = []
        for number in range(asked.good):
            k, doubler = np.exp(rng.normal(0, 0.05)), np.exp(rng.normal(0, 0.03))
            seed = 1000 * asked.seed + number
            good.append(make(Path(home) / f"good_{number}", seed, float(k), float(doubler)))
        for number, (name, how) in enumerate(odd.items()):
            judged = make(Path(home) / f"odd_{number}", 1000 * asked.seed + 500 + number, **how)
            found = judge_part_folders(good, judged)
            print(f"{name}: {head(found)}")
            if found.places is not None:
                print(f"  pace {found.places.pace:.2f}, {len(found.places.odd)} odd places")
            beyond = ", ".join(one.name for one in found.beyond)
            print(f"  outside: {beyond or 'no number'}")


if __name__ == "__main__":
    main()
