"""What following a run live costs: ``python tests/bench/live.py [--frames N] [FOLDER ...]``.

Replays sample runs (or the panel folders given) faster than real time and prints

- how far the live front is from the recorded-run result,
- how long a frame at 1920 x 1080 takes from disk to the board, picture and chart included,
- memory over a long run at one frame a second, and how many such cameras one core could follow.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from analysis.page.board_view import board_view  # noqa: E402
from analysis.page.chart import chart_svg  # noqa: E402
from analysis.watch.run import Watch  # noqa: E402
from vision.cameras.camera import PhoneCamera  # noqa: E402
from vision.cameras.clock import SteadyClock  # noqa: E402
from vision.frames.source import open_frames, resin_start_clock_s  # noqa: E402
from vision.records import Frame  # noqa: E402
from vision.rectify.rectifier import Rectifier  # noqa: E402
from vision.settings.panel_settings import read_setup  # noqa: E402
from vision.tracking.live_tracker import LiveTracker  # noqa: E402
from vision.tracking.tracker import Tracker  # noqa: E402

SAMPLES = ("glass_edge", "carbon_corners", "glass_video")
START_S = 1_933_000_000.0
SIZE = (1920, 1080)


def live_against_recorded(folder: Path, most: int = 90) -> str:
    """Follow a folder live, measured after every frame, and as a recording; tell the difference."""
    setup = read_setup(folder)
    with open_frames(setup) as frames:
        every = max(1, len(frames) // most)
        rectifier = Rectifier(setup, frames)
        recorded, live = Tracker(setup, rectifier), LiveTracker(setup, Rectifier(setup, frames))
        start = resin_start_clock_s(setup, frames)
        took = []
        for frame in frames:
            recorded.add(frame)
            if frame.index % every == 0:
                live.add(frame)
                begun = time.perf_counter()
                live.measure(start)
                took.append(time.perf_counter() - begun)
        tracked = recorded.finish(start).tracked
    final = dict(zip(tracked.curve.frames, tracked.curve.front_mean_mm, strict=True))
    error = np.array([r.front_mm - final[r.name] for r in live.firm])
    rms, worst = float(np.sqrt(np.mean(error**2))), float(np.abs(error).max())
    return (
        f"{folder.name}: live front {rms:.2f} mm rms from the recorded one, at most {worst:.1f} mm "
        f"({len(error)} frames); a measurement {np.median(took):.2f} s, at most {max(took):.2f} s"
    )


def photos_1080(folder: Path) -> list[bytes]:
    """The folder's pictures enlarged to 1920 x 1080."""
    with open_frames(read_setup(folder)) as frames:
        large = (cv2.resize(frame.image, SIZE, interpolation=cv2.INTER_CUBIC) for frame in frames)
        return [bytes(cv2.imencode(".jpg", image, [1, 92])[1]) for image in large]


def frame_to_board(folder: Path) -> str:
    """Time each frame from its arrival to the board with its picture and chart."""
    photos = photos_1080(folder)
    place = Path(tempfile.mkdtemp())
    shutil.copy(folder / "panel.toml", place)
    now = [0.0]
    clock = SteadyClock(lambda: START_S + now[0], lambda: now[0])
    board, shown = [], []
    try:
        with Watch(place, PhoneCamera(), 20.0, clock=clock) as watch:
            for k, photo in enumerate(photos):
                now[0] = 22.0 * k
                begun = time.perf_counter()
                watch.receive(photo, 0.0)
                watch.follow_once(0.0)
                board_view(watch, watch.board)
                board.append(time.perf_counter() - begun)
                watch.picture_jpeg()
                chart_svg(watch.board)
                shown.append(time.perf_counter() - begun)
    finally:
        shutil.rmtree(place, ignore_errors=True)
    parts = [
        f"{name} {np.median(took):.2f} s median, {np.quantile(took, 0.95):.2f} s in 19 of 20"
        for name, took in (("numbers", board[8:]), ("with picture and chart", shown[8:]))
    ]
    return f"{folder.name} at {SIZE[0]} x {SIZE[1]}: frame to board: {'; '.join(parts)}"


def memory_mb() -> float | None:
    """Memory this program holds; None where the system does not tell in this way."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return None
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def long_run(folder: Path, count: int, measure_each: int) -> Iterator[str]:
    """Follow a run of one frame a second at 1920 x 1080; tell memory at each quarter."""
    photos = photos_1080(folder)
    setup = read_setup(folder)
    with open_frames(setup) as frames:
        small = frames.size[0]
        first = [Frame(f.index, f.name, f.clock_s, cv2.resize(f.image, SIZE)) for f in frames][:4]
    live = LiveTracker(setup, Rectifier(setup, _Large(first)))
    adding, measuring = 0.0, 0.0
    rng = np.random.default_rng(1)
    noise = [rng.integers(0, 4, (*SIZE[::-1], 3), dtype=np.uint8) for _ in range(5)]
    for k in range(count):
        begun = time.perf_counter()
        image = cv2.imdecode(np.frombuffer(photos[k * len(photos) // count], np.uint8), 1)
        image = cv2.add(image, noise[k % len(noise)])  # no sensor gives the same picture twice
        live.add(Frame(k, str(k), float(k), image))
        adding += time.perf_counter() - begun
        if k % measure_each == measure_each - 1:
            begun = time.perf_counter()
            live.measure()
            measuring += time.perf_counter() - begun
        if (k + 1) % max(1, count // 6) == 0:
            held = memory_mb()
            told = "not told here" if held is None else f"{held:.0f} MB"
            yield f"  after {k + 1} frames: {len(live.canvases.frames)} canvases, memory {told}"
    per_frame, per_measurement = adding / count, measuring / max(1, count // measure_each)
    yield (
        f"  a frame {per_frame * 1e3:.0f} ms, a measurement {per_measurement:.2f} s: measured "
        f"after every frame, one core keeps up with {1 / (per_frame + per_measurement):.1f} frames "
        f"a second (pictures enlarged from {small} px)"
    )


class _Large:
    """The first frames as a source for the rectifier."""

    focal_35mm = None

    def __init__(self, frames: list[Frame]) -> None:
        self._frames, self.names = frames, tuple(f.name for f in frames)

    def __len__(self) -> int:
        return len(self._frames)

    def read(self, index: int) -> Frame:
        return self._frames[index]


def main() -> None:
    """Run all three."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--frames", type=int, default=7200, help="of the long run")
    parser.add_argument(
        "--measure-each", type=int, default=30, help="frames between two measurements"
    )
    chosen = parser.parse_args()
    folders = chosen.folders or [ROOT / "sample_frames" / name for name in SAMPLES]
    for folder in folders:
        print(live_against_recorded(folder), flush=True)
    edge = ROOT / "sample_frames" / "glass_edge"
    print(frame_to_board(edge), flush=True)
    print(f"{chosen.frames} frames, one a second:", flush=True)
    for line in long_run(edge, chosen.frames, chosen.measure_each):
        print(line, flush=True)


if __name__ == "__main__":
    main()
