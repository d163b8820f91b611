"""Panels a minute by `wetline batch`, against the cores and against single runs, all in one run.

    python tests/bench/batch.py [--panels 24] [--width 1280] [--frames 60] [--rounds 2]
    python tests/bench/batch.py --kill 100      # killed at random moments, then again

Makes a season of panels of the glass sample (in a temporary folder). One core means that the whole
process is kept on one core (Linux only), so that decoding ahead does not use a second one.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench.tracking_speed import make_run  # noqa: E402

CODE = "import sys, wetline; sys.exit(wetline.main())"


def make_season(root: Path, panels: int, width: int, frames: int) -> None:
    """Write panels that differ in nothing but their folder."""
    make_run(root / "p0", width, frames)
    for number in range(1, panels):
        shutil.copytree(root / "p0", root / f"p{number}")


def wetline(*words: str, on_cores: set[int] | None = None) -> subprocess.Popen[bytes]:
    """Start a command, kept on some cores only."""

    def keep() -> None:
        if on_cores is not None:
            os.sched_setaffinity(0, on_cores)

    nowhere = subprocess.DEVNULL
    return subprocess.Popen(
        [sys.executable, "-c", CODE, *words],
        cwd=ROOT,
        stdout=nowhere,
        stderr=nowhere,
        preexec_fn=keep if on_cores is not None else None,
    )


def clocked(*words: str, on_cores: set[int] | None = None) -> float:
    """Time a command that must succeed."""
    began = time.perf_counter()
    code = wetline(*words, on_cores=on_cores).wait()
    assert code == 0, words
    return time.perf_counter() - began


def clear(root: Path) -> None:
    """Take all results away."""
    for results in root.rglob("results"):
        shutil.rmtree(results)


def speed(root: Path, panels: int, rounds: int) -> None:
    """Print panels a minute."""
    usable = sorted(os.sched_getaffinity(0))
    single: list[float] = []
    spent: dict[int, list[float]] = {}
    for _ in range(rounds):
        for number in range(min(panels, 6)):
            clear(root)
            single.append(clocked("run", str(root / f"p{number}"), "--quiet"))
        for count in sorted({1, *range(2, len(usable) + 1)}):
            clear(root)
            seconds = clocked("batch", str(root), "--quiet", on_cores=set(usable[:count]))
            spent.setdefault(count, []).append(seconds)
    again = clocked("batch", str(root), "--quiet")
    one = min(spent[1])
    print(f"{panels} panels, {rounds} rounds, the quickest of each")
    print(
        f"single runs (all cores to each): {min(single):.2f} s each, "
        f"{60 / min(single):.1f} a minute"
    )
    print(
        "\n| cores | s | panels a minute | share of linear | times single runs |\n"
        "|---|---|---|---|---|"
    )
    for count, seconds in spent.items():
        best = min(seconds)
        linear, gain = one / best / count, min(single) * panels / best
        print(f"| {count} | {best:.1f} | {60 * panels / best:.1f} | {linear:.2f} | {gain:.2f} |")
    print(f"\nnothing to do: {again:.2f} s")


def survive(root: Path, times: int, seed: int) -> None:
    """Kill a batch at random moments, start it again, and compare with one left in peace."""
    draw = random.Random(seed)
    clear(root)
    whole_s = clocked("batch", str(root), "--quiet")
    told = contents(root)
    for number in range(times):
        clear(root)
        process = wetline("batch", str(root), "--quiet")
        time.sleep(draw.uniform(0.0, whole_s))
        process.kill()
        process.wait()
        time.sleep(0.5)  # its own processes end by themselves
        clocked("batch", str(root), "--quiet")
        found = contents(root)
        changed = [name for name in told if found.get(name) != told[name]]
        assert not changed, (number, changed)
    print(f"killed at {times} random moments (seed {seed}): results the same, byte for byte")


def contents(root: Path) -> dict[str, bytes]:
    """Bytes of each panel's results."""
    files = [path for path in root.glob("p*/results/*") if path.is_file()]
    return {str(path.relative_to(root)): path.read_bytes() for path in files}


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--panels", type=int, default=24)
    ask.add_argument("--width", type=int, default=1280)
    ask.add_argument("--frames", type=int, default=60)
    ask.add_argument("--rounds", type=int, default=2)
    ask.add_argument("--kill", type=int, default=0)
    ask.add_argument("--seed", type=int, default=1)
    asked = ask.parse_args()
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        panels = min(asked.panels, 4) if asked.kill else asked.panels
        make_season(root, panels, asked.width, asked.frames)
        if asked.kill:
            survive(root, asked.kill, asked.seed)
        else:
            speed(root, asked.panels, asked.rounds)


if __name__ == "__main__":
    main()
