"""Hunts for wrong arrival maps without a word: parts with truth, with every trouble in turn.

Run by hand: ``python tests/bench/part_hunt.py [FOLDER ...] [--only CONDITION ...] [--parts NAME
...] [--keep FILE]``, each FOLDER holding folders of parts with truth/truth.json and
truth/arrival.npz; the made-up parts and the sample come first (not with ``--given``). With
``--keep`` each result is added to FILE as it comes, and what is there already is not done again.

Prints a Markdown table: per condition the runs, how many kept the limits, how many were refused or
marked, how many were silently wrong, with the worst of those, and which share of the parts was
seen. A run keeps the limits where at least 95 % of the places that count as seen are within 2 % of
the fill time of the truth, or within three of their stated uncertainties; it is silently wrong
where it does not and states no doubt.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import cv2
import numpy as np

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from sample_frames._part_world import Filled
from tests.bench.conditions import CONDITIONS, Change, Photos, each, lit, moved
from tests.bench.hunt import MOST_FRAMES, Held
from tests.bench.lights import LIGHTS
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from tests.made_up.parts.scored import at_places
from vision.errors import WetlineError
from vision.frames.source import open_frames
from vision.part_records import PartSeen
from vision.parts.part_settings import PartCamera
from vision.parts.track_part import part_rectifier, track_part

SHARE, SDS, LEAST_KEPT = 0.02, 3.0, 0.95
SAMPLE = Path(__file__).parents[2] / "sample_frames" / "part_run"


@dataclass(frozen=True)
class Part:
    """A part's photos, when resin started on their clock, and how it truly filled."""

    name: str
    photos: Photos
    start_clock_s: float
    filled: Filled
    told: bool


@dataclass(frozen=True)
class Found:
    """What came of one part under one condition; shares of the places that count as seen."""

    part: str
    condition: str
    refused: str = ""
    doubts: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    seen: float = 0.0
    within: float = 0.0
    kept: float = 0.0
    worst_cm2: float = 0.0
    z_spread: float = float("nan")
    z_top: float = float("nan")
    start_z: float = float("nan")
    took_s: float = 0.0

    @property
    def marked(self) -> bool:
        """Whether the user is told that it cannot be relied on."""
        return bool(self.refused or self.doubts)

    @property
    def wrong(self) -> bool:
        """Whether it is wrong without a word."""
        return not self.marked and self.kept < LEAST_KEPT


def load(folder: Path) -> Part:
    """Read a part's photos and truth."""
    camera = part_camera(read_part(folder))
    with open_frames(camera.setup()) as frames:
        step = max(1, len(frames) // MOST_FRAMES)
        held = [frame for frame in frames if frame.index % step == 0]
    truth = json.loads((folder / "truth" / "truth.json").read_text(encoding="utf-8"))
    rows = {row["file"]: row for row in truth["frames"]}
    with np.load(folder / "truth" / "arrival.npz") as kept:
        filled = Filled(kept["x_mm"], kept["y_mm"], kept["time_s"].astype(float), {})
    clock = np.array([frame.clock_s for frame in held])
    time_s = np.array([rows[frame.name]["time_s"] for frame in held])
    share = np.array([rows[frame.name]["wetted_fraction"] for frame in held])
    names, images = tuple(frame.name for frame in held), [frame.image for frame in held]
    photos = Photos(camera, names, clock, images, 100.0 * share)
    told = camera.frames.resin_start is not None
    return Part(folder.name, photos, float(np.median(clock - time_s)), filled, told)


def part_out_of_view(photos: Photos) -> Photos:
    """The camera knocked in the middle so far that 15 % of the part leaves the picture."""
    plane = part_rectifier(photos.setup, Held(photos))[0].plane
    places = np.array([(plane.length_mm * share, plane.width_mm / 2) for share in (0.85, 1.0)])
    near, far = plane.to_px(places)
    size = np.array(photos.images[0].shape[1::-1])
    axis = int(np.argmax(np.abs(far - near)))
    shift = np.zeros(2)
    edge = size[axis] if far[axis] > near[axis] else 0
    shift[axis] = (edge - near[axis]) / size[axis]
    middle = len(photos.names) // 2
    return each(photos, lambda k, image: moved(image, tuple(shift), 0.0) if k >= middle else image)


def cards_in_shadow(photos: Photos) -> Photos:
    """A sharp shadow over a corner of the picture, a quarter as bright, from first to last."""
    height, width = photos.images[0].shape[:2]
    y, x = np.indices((height, width))
    dark = np.where(x / width + y / height < 0.45, 0.25, 1.0).astype(np.float32)
    return each(photos, lambda _, image: lit(image, cv2.GaussianBlur(dark, (0, 0), 2.0)))


def smaller(photos: Photos) -> Photos:
    """Photos of half the size; tapped points go along."""
    camera = photos.setup
    points = tuple((x / 2 - 0.25, y / 2 - 0.25) for x, y in camera.scale.points_px)
    photos = replace(photos, setup=replace(camera, scale=replace(camera.scale, points_px=points)))
    return each(
        photos,
        lambda _, image: cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA),
    )


PART_CONDITIONS: dict[str, Change] = {
    **CONDITIONS,
    "start not told": lambda photos: photos,
    "bump, 15 % out of view": part_out_of_view,
    "a corner in shadow": cards_in_shadow,
    "photos half as large": smaller,
    **LIGHTS,
}
"""The conditions of the panels' hunt, a few that go with a part, and lights by chance."""


def follow(part: Part, condition: str) -> Found:
    """Follow a part under a condition and hold it against the truth."""
    photos = PART_CONDITIONS[condition](part.photos)
    told = part.told and condition != "start not told"
    start = part.start_clock_s - float(photos.clock_s[0]) if told else None
    camera: PartCamera = photos.setup
    camera = replace(camera, frames=replace(camera.frames, resin_start=start))
    began = time.perf_counter()
    try:
        seen = track_part(camera, Held(replace(photos, setup=camera))).seen
    except WetlineError as error:
        return Found(part.name, condition, refused=str(error))
    took = time.perf_counter() - began
    if not seen.usable:
        return Found(part.name, condition, refused=seen.reason)
    return replace(score(seen, part), condition=condition, took_s=took)


def score(seen: PartSeen, part: Part) -> Found:
    """Hold what was seen against the truth."""
    x, y = np.meshgrid(seen.x_mm, seen.y_mm)
    true = at_places(part.filled, x, y)
    told = seen.inside & seen.seen
    off = np.nan_to_num(seen.time_s, nan=np.inf, posinf=np.inf) - true
    off = np.where((true > seen.last_s) & ~np.isfinite(seen.time_s), 0.0, off)
    sd = np.hypot(np.nan_to_num(seen.sd_s, posinf=1e9), seen.start_sd_s)
    bound = SHARE * part.filled.fill_s
    bad = told & (np.abs(off) > bound) & (np.abs(off) > SDS * sd)
    count, _, stats, _ = cv2.connectedComponentsWithStats(bad.astype(np.uint8))
    size = float(stats[1:, cv2.CC_STAT_AREA].max()) if count > 1 else 0.0
    pixel = abs(float(seen.x_mm[1] - seen.x_mm[0]))
    wetted = told & np.isfinite(seen.time_s) & (seen.time_s > 0)
    z = (off / np.maximum(sd, 1e-9))[wetted & np.isfinite(off)]
    start_off = seen.start_clock_s - part.start_clock_s
    return Found(
        part.name,
        "",
        doubts=seen.doubts,
        warnings=seen.warnings,
        seen=float(told.sum() / seen.inside.sum()),
        within=float(np.mean(np.abs(off)[told] <= bound)) if told.any() else 0.0,
        kept=float(1 - bad.sum() / told.sum()) if told.any() else 0.0,
        worst_cm2=size * pixel**2 / 100,
        z_spread=float(np.sqrt(np.mean(np.minimum(z**2, 25.0)))) if len(z) else float("nan"),
        z_top=float(np.quantile(np.abs(z), 0.99)) if len(z) else float("nan"),
        start_z=start_off / seen.start_sd_s if seen.start_sd_s else float("nan"),
    )


def hunt(name: str, folder: Path | None, conditions: list[str]) -> Iterator[Found]:
    """Put one part through conditions."""
    cv2.setNumThreads(1)
    part = load(folder or made_part(name))
    for condition in conditions:
        try:
            yield follow(part, condition)
        except (ValueError, IndexError, cv2.error, np.linalg.LinAlgError) as error:
            print(f"{part.name}, {condition}: fails: {error!r}", file=sys.stderr)
            yield Found(part.name, condition)


def _hunt_all(
    name: str, folder: Path | None, conditions: list[str], keep: Path | None
) -> list[Found]:
    found = []
    for result in hunt(name, folder, conditions):
        found.append(result)
        if keep is not None:
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(result)) + "\n")
    return found


def kept_before(keep: Path | None) -> list[Found]:
    """Read results of an earlier run."""
    if keep is None or not keep.is_file():
        return []
    return [Found(**json.loads(line)) for line in keep.read_text(encoding="utf-8").splitlines()]


def table(results: list[Found], conditions: list[str]) -> Iterator[str]:
    """Write the table line by line."""
    yield "| condition | parts | kept the limits | refused, marked | silent | seen | worst |"
    yield "|---|---|---|---|---|---|---|"
    for name in conditions:
        here = [r for r in results if r.condition == name]
        told, wrong = [r for r in here if r.marked], [r for r in here if r.wrong]
        worst = min(wrong, key=lambda r: r.kept, default=None)
        text = f"{worst.part}: {1 - worst.kept:.0%} of the places seen" if worst else ""
        used = [r.seen for r in here if not r.refused]
        share = f"{np.mean(used):.0%}" if used else ""
        kept = len(here) - len(told) - len(wrong)
        yield f"| {name} | {len(here)} | {kept} | {len(told)} | {len(wrong)} | {share} | {text} |"


def line_of(r: Found) -> str:
    """Return one result as a line."""
    said = f"refused: {r.refused[:90]}" if r.refused else "; ".join(r.doubts)[:110]
    return (
        f"{r.part:14} {r.condition:24} seen {r.seen:4.0%} in 2 % {r.within:6.1%} "
        f"kept {r.kept:6.1%} "
        f"patch {r.worst_cm2:6.1f} cm2 z {r.z_spread:4.2f} (99 %: {r.z_top:5.1f}) "
        f"start {r.start_z:5.1f} {'WRONG ' if r.wrong else ''}[{said}] {len(r.warnings)} warnings"
    )


def main() -> None:
    """Hunt, and print what was found."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--given", action="store_true", help="only the parts of FOLDER")
    parser.add_argument("--only", nargs="*", help="conditions, by the beginning of their names")
    parser.add_argument("--parts", nargs="*", help="names of the parts to put through")
    parser.add_argument("--keep", type=Path, help="file of results, to go on from")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    conditions = [
        name
        for name in PART_CONDITIONS
        if not options.only or any(name.startswith(text) for text in options.only)
    ]
    own = {} if options.given else dict.fromkeys(CASES) | {SAMPLE.name: SAMPLE}
    chosen = own | {
        toml.parent.name: toml.parent
        for folder in options.folders
        for toml in sorted(folder.glob("*/part.toml"))
    }
    chosen = {n: f for n, f in chosen.items() if not options.parts or n in options.parts}
    results = [
        r for r in kept_before(options.keep) if r.part in chosen and r.condition in conditions
    ]
    done = {(r.part, r.condition) for r in results}
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.workers, mp_context=spawn) as pool:
        turns = [
            pool.submit(_hunt_all, name, folder, left, options.keep)
            for name, folder in chosen.items()
            if (left := [c for c in conditions if (name, c) not in done])
        ]
        for turn in turns:
            results += turn.result()
    print("\n".join(line_of(r) for r in results))
    print("\n".join(table(results, conditions)))
    spreads = np.array([r.z_spread for r in results if not r.marked])
    told = f"median {np.nanmedian(spreads):.2f}, greatest {np.nanmax(spreads):.2f}"
    print(f"\nspread of errors over stated uncertainty, run by run: {told}")


if __name__ == "__main__":
    main()
