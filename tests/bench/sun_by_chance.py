"""Hunts for wrong readings without a word in made-up runs with a sun patch drawn by chance.

Run by hand: ``python tests/bench/sun_by_chance.py [RUNS] [SEED]``. Five fabrics in turn; where the
patch comes in, when, how large and how strong it is, and where it wanders to are drawn evenly. A
run is silently wrong by the rule of tests/bench/hunt.py. Prints a line per run and the sums.
"""

import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import cv2
import numpy as np

from tests.bench.hunt import EDGE_MM, LEAST_MM, SDS
from tests.made_up.shop import events
from tests.made_up.shop.cases import fabric
from tests.vision.tracking.test_made_up_shop import track
from vision.errors import WetlineError

FABRICS = ("white glass", "cream glass", "natural fibre", "twill carbon", "plain carbon")
KINDS = ("kept", "told", "SILENTLY WRONG")


@dataclass(frozen=True)
class Sun:
    """A sun patch on a fabric."""

    number: int
    fabric: str
    first: int
    last: int
    strength: float
    at_mm: tuple[float, float]
    speed_mm: tuple[float, float]
    size_mm: tuple[float, float]


def draw(runs: int, seed: int) -> Iterator[Sun]:
    """Draw the patches, one after the other."""
    rng = np.random.default_rng(seed)
    for number in range(runs):
        first = int(rng.integers(0, 10))
        strength = float(rng.uniform(0.3, 1.2))
        at, speed, size = (
            (float(rng.uniform(*along)), float(rng.uniform(*across)))
            for along, across in (
                ((20, 200), (20, 130)),
                ((-6, 12), (-2, 2)),
                ((30, 100), (25, 80)),
            )
        )
        last = int(rng.integers(first + 4, 40))
        name = FABRICS[number % len(FABRICS)]
        yield Sun(number, name, first, last, strength, at, speed, size)


def put_through(sun: Sun) -> tuple[str, str]:
    """Make one run, track it, and return its kind and a line about it."""
    cv2.setNumThreads(1)
    light = events.sun(sun.first, sun.last, sun.at_mm, sun.speed_mm, sun.size_mm, sun.strength)
    try:
        found = track(fabric(sun.fabric, light=(light,)))
    except WetlineError as error:
        return "told", f"[{error}]"
    front, curve = found.tracked.front, found.tracked.curve
    if not front.usable:
        return "told", f"[{front.reason}]"
    use = curve.used
    error = np.abs(found.error_mm)[use]
    bad = int(np.sum(error > np.maximum(LEAST_MM, SDS * curve.front_sd_mm[use])))
    edges = np.concatenate(
        [
            (curve.front_min_mm - found.true_mm.min(axis=1))[use],
            (curve.front_max_mm - found.true_mm.max(axis=1))[use],
        ]
    )
    edge = float(np.nanmax(np.abs(edges), initial=0.0))
    said = "; ".join(front.doubts) or ("" if use.any() else "no row is used")
    wrong = bad or edge > EDGE_MM or front.dry_spots
    kind = "told" if said else "SILENTLY WRONG" if wrong else "kept"
    line = (
        f"used {use.sum():2} worst {error.max(initial=0.0):5.2f} mm, rows wrong {bad}, "
        f"edge {edge:5.1f} mm, dry spots {len(front.dry_spots)} [{said[:80]}]"
    )
    return kind, line


def main(runs: int = 40, seed: int = 77) -> None:
    """Print what came of each run, and the sums."""
    suns = list(draw(runs, seed))
    kinds = []
    with ProcessPoolExecutor(2) as pool:
        for sun, (kind, line) in zip(suns, pool.map(put_through, suns), strict=True):
            kinds.append(kind)
            print(
                f"{sun.number:3} {sun.fabric:13} frames {sun.first:2} to {sun.last:2}, strength "
                f"{sun.strength:4.2f}: {kind:14} {line}",
                flush=True,
            )
    for kind in KINDS:
        print(f"{kind}: {kinds.count(kind)} of {len(kinds)}")


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:]))
