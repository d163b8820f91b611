"""What tracking costs beside reading, decoding and warping the same frames with OpenCV alone.

    python tests/bench/tracking_speed.py [--width 1920] [--frames 60] [--rounds 3]

Makes a run of the wanted size from the glass sample (in a temporary folder), then measures both
sides in turn, several times, in one process, and prints the ratios and a table by stage. Ratios
of wall time want a quiet machine; those of processor time (least of all rounds) bear company.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the front door does

import cv2
import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from vision.arrival.arrival_map import measure  # noqa: E402
from vision.frames.source import open_frames  # noqa: E402
from vision.rectify.rectifier import Rectifier  # noqa: E402
from vision.repair.feed import Feed, FeedOnCanvas  # noqa: E402
from vision.settings.panel_settings import read_setup  # noqa: E402
from vision.tracking.tracker import Tracker, track_frames  # noqa: E402


def make_run(folder: Path, width: int, count: int) -> None:
    """Write `count` photos of the wanted width, from the glass sample's photos."""
    sample = ROOT / "sample_frames" / "glass_edge"
    photos = sorted((sample / "frames").iterdir())
    (folder / "frames").mkdir(parents=True)
    shutil.copy(sample / "panel.toml", folder / "panel.toml")
    start = datetime(2024, 5, 14, 9, 12)
    for k in range(count):
        at = k * (len(photos) - 1) / (count - 1)
        with Image.open(photos[round(at)]) as image:
            size = (width, round(image.height * width / image.width))
            exif = Image.Exif()
            exif.get_ifd(0x8769)[0x9003] = (start + timedelta(seconds=20 * k)).strftime(
                "%Y:%m:%d %H:%M:%S"
            )
            image.resize(size, Image.Resampling.BICUBIC).save(
                folder / "frames" / f"p{k:04d}.jpg", quality=92, exif=exif
            )


@dataclass
class Spent:
    """Seconds by the clock on the wall, and of processor time of all threads."""

    wall_s: float = 0.0
    processor_s: float = 0.0


@contextmanager
def timed() -> Iterator[Spent]:
    """Time what is done within."""
    spent = Spent()
    wall, processor = time.perf_counter(), time.process_time()
    yield spent
    spent.wall_s = time.perf_counter() - wall
    spent.processor_s = time.process_time() - processor


def floor(folder: Path) -> Spent:
    """Time reading, decoding and warping every photo, nothing else."""
    setup = read_setup(folder)
    with open_frames(setup) as frames:
        rectifier = Rectifier(setup, frames)
    rows, cols = rectifier.shape
    to_px = rectifier.plane.homography @ np.diag([rectifier.mm_per_px, rectifier.mm_per_px, 1.0])
    inverse = np.linalg.inv(to_px)
    with timed() as spent:
        for path in sorted((folder / "frames").iterdir()):
            image = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
            cv2.warpPerspective(image, inverse, (cols, rows), flags=cv2.INTER_LINEAR)
    return spent


def stages(folder: Path) -> dict[str, float]:
    """Time the stages of tracking one after the other (decoding not overlapped)."""
    setup = read_setup(folder)
    spent = {"open and find the scale": 0.0, "decode": 0.0, "follow and warp": 0.0, "measure": 0.0}
    clock = time.perf_counter
    began = clock()
    with open_frames(setup) as frames:
        tracker = Tracker(setup, Rectifier(setup, frames))
        spent["open and find the scale"] = clock() - began
        mark = clock()
        for frame in frames:
            spent["decode"] += clock() - mark
            mark = clock()
            tracker.add(frame)
            spent["follow and warp"] += clock() - mark
            mark = clock()
    began = clock()
    stack = tracker.canvases.stack()
    feed = FeedOnCanvas(Feed(), stack.shape, tracker.rectifier.mm_per_px)
    measure(stack, feed, None)
    spent["measure"] = clock() - began
    return spent


def track(folder: Path) -> Spent:
    """Time tracking alone, from the open frames to the curve."""
    setup = read_setup(folder)
    with timed() as spent, open_frames(setup) as frames:
        track_frames(setup, frames, lambda items: items)
    return spent


def whole_run(folder: Path) -> Spent:
    """Time `wetline run` in this process: track, fit, pictures and report."""
    from click.testing import CliRunner

    from wetline import main

    with timed() as spent:
        result = CliRunner().invoke(main, ["run", str(folder), "--quiet"])
    assert result.exit_code == 0, result.output
    return spent


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--width", type=int, default=1920)
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "panel"
        make_run(folder, asked.width, asked.frames)
        whole_run(folder)  # warm: imports, fonts, file cache
        sides = {"floor (read, decode, warp)": floor, "track": track, "wetline run": whole_run}
        rounds = [[side(folder) for side in sides.values()] for _ in range(asked.rounds)]
        table = stages(folder)
    print(f"{asked.frames} frames, {asked.width} px wide, {asked.rounds} rounds\n")
    walls = np.median([[s.wall_s for s in spent] for spent in rounds], axis=0)
    processors = np.min([[s.processor_s for s in spent] for spent in rounds], axis=0)
    base = float(walls[0])
    print("| | s, median | x the floor | processor s, least | x the floor |\n|---|---|---|---|---|")
    for name, wall, busy in zip(sides, walls, processors, strict=True):
        ratio = busy / processors[0]
        print(f"| {name} | {wall:.2f} | {wall / base:.2f} | {busy:.2f} | {ratio:.2f} |")
    print("\n| stage | s | share of the floor |\n|---|---|---|")
    for stage, seconds in table.items():
        print(f"| {stage} | {seconds:.2f} | {seconds / base:.2f} |")


if __name__ == "__main__":
    main()
