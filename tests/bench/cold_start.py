"""What a whole `wetline run` costs from start to exit, beside the same of another checkout.

    python tests/bench/cold_start.py ../older-checkout [--width 1280] [--frames 60] [--rounds 9]

Makes a run of the wanted size from the glass sample (in a temporary folder) and starts the whole
command on a copy of it, in a process of its own, with this checkout's code and the other's in
turn, under the Python that runs this. Prints wall and processor time of each, and the ratios,
pair by pair. Processor time bears being measured beside other work, wall time does not.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench.tracking_speed import make_run  # noqa: E402


def spent(checkout: Path, folder: Path) -> tuple[float, float]:
    """Return wall and processor seconds of one whole command."""
    before, began = os.times(), time.perf_counter()
    environment = {**os.environ, "PYTHONPATH": str(checkout)}
    subprocess.run(
        [sys.executable, "wetline.py", "run", str(folder), "--quiet"],
        cwd=checkout,
        env=environment,
        check=True,
        capture_output=True,
    )
    wall, after = time.perf_counter() - began, os.times()
    user = after.children_user - before.children_user
    return wall, user + after.children_system - before.children_system


def main() -> None:
    """Measure in turn and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path, help="Folder of the other checkout.")
    parser.add_argument("--width", type=int, default=1280)
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=9)
    asked = parser.parse_args()
    sides = {"this": ROOT, "other": asked.other.resolve()}
    with tempfile.TemporaryDirectory() as name:
        for side in sides:
            folder = Path(name) / side
            make_run(folder, asked.width, asked.frames)
            spent(sides[side], folder)  # warm: bytecode, font list, file cache
        rounds = np.array(
            [
                [spent(checkout, Path(name) / side) for side, checkout in sides.items()]
                for _ in range(asked.rounds)
            ]
        )
    print(f"{asked.frames} photos, {asked.width} px wide, {asked.rounds} rounds in turn\n")
    print("| | this, s | other, s | this over other: median (least to most) |\n|---|---|---|---|")
    for k, what in enumerate(("wall", "processor")):
        ours, theirs = np.median(rounds[:, :, k], axis=0)
        ratio = rounds[:, 0, k] / rounds[:, 1, k]
        told = f"{np.median(ratio):.2f} ({ratio.min():.2f} to {ratio.max():.2f})"
        print(f"| {what} | {ours:.2f} | {theirs:.2f} | {told} |")


if __name__ == "__main__":
    main()
