"""Make the sample panels: ``python sample_frames/make.py [--only NAME] [--to FOLDER]``.

All seeds are fixed and no clock is read, so each run writes the same files.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
if __package__ in (None, ""):  # run as a script: find the packages beside this folder
    sys.path.insert(0, str(HERE.parent))

from sample_frames import _write as write  # noqa: E402
from sample_frames._camera import HEIGHT, WIDTH  # noqa: E402
from sample_frames._flow import arrival_map, leading_front_mm  # noqa: E402
from sample_frames._part_make import make_part  # noqa: E402
from sample_frames._part_recipes import PART_RECIPES  # noqa: E402
from sample_frames._recipes import RECIPES, Recipe  # noqa: E402
from sample_frames._scene import (  # noqa: E402
    Look,
    Moment,
    Scene,
    build,
    marker_centres_mm,
    photograph,
)
from vision.common.atomic_files import write_text  # noqa: E402

Array = NDArray[np.floating]

VIDEO_LEAD_S = 33.0
MARKS_MIN = (1, 2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 23, 26, 29, 32, 35, 38, 41)


@dataclass(frozen=True)
class Shot:
    """One frame to take: its file name, seconds since resin start, and what is particular."""

    name: str
    time_s: float
    moment: Moment


def frame_times_s(recipe: Recipe, arrival_s: Array) -> Array:
    """Give when the pictures are taken: as a person with a phone would, or at the video's rate."""
    end_s = float(np.quantile(arrival_s, 0.995))
    if recipe.video:
        fps, speed_up = recipe.video
        step = speed_up / fps
        return -VIDEO_LEAD_S + step * np.arange(int((end_s + VIDEO_LEAD_S) / step) + 2)
    rng = np.random.default_rng([recipe.seed, 5])
    after = recipe.photos - recipe.before
    step = end_s / (after - 0.45)
    late = rng.normal(0, 0.04, recipe.photos).clip(-0.1, 0.1)
    number = np.arange(recipe.photos) - recipe.before + 0.55
    return np.round((number + late) * step, 3)


def schedule(recipe: Recipe, arrival_s: Array) -> list[Shot]:
    """Give the frames of a run in time order, with the light and trouble of each."""
    times = frame_times_s(recipe, arrival_s)
    count = len(times)
    rng = np.random.default_rng([recipe.seed, 6])
    turn = np.linspace(0, 2 * np.pi, count)
    slow = 0.035 * np.sin(1.3 * turn + rng.uniform(0, 6)) + 0.02 * np.sin(3.1 * turn)
    jump = rng.normal(0, 0.004 if recipe.video else 0.014, count)
    exposure = 1 + slow + jump
    warm = 0.018 * np.sin(0.9 * turn + rng.uniform(0, 6)) + rng.normal(0, 0.003, count)
    drift = np.cumsum(rng.normal(0, 0.25 / np.sqrt(count), (count, 2)), axis=0)
    drift[0] = 0
    walk = 640 + 900 * np.sin(2.6 * turn + rng.uniform(0, 6)) + 260 * np.sin(7.3 * turn)
    hands = dict(recipe.hands)
    shots = []
    for i in range(count):
        gain = tuple(float(g) for g in exposure[i] * (1 + warm[i] * np.array([1, 0, -1])))
        shadow = (float(walk[i]), 330 + 0.1 * float(walk[i]), recipe.shadow)
        moment = Moment(gain, tuple(np.round(drift[i], 3).tolist()), shadow, hands.get(i))
        shots.append(Shot(_frame_name(recipe, i), float(times[i]), moment))
    return shots


def _frame_name(recipe: Recipe, index: int) -> str:
    if recipe.video:
        return f"run.mp4@{index / recipe.video[0]:.2f}s"
    return f"photo_{recipe.first_number + index:04d}.jpg"


def render(recipe: Recipe, scene: Scene, shots: list[Shot], index: int) -> NDArray[np.uint8]:
    """Take frame `index` of a run, red first."""
    look = _look(recipe)
    shot = shots[index]
    seed = (recipe.seed, 7, index)
    return photograph(scene, recipe.flow, look, shot.time_s, shot.moment, seed)


def _look(recipe: Recipe) -> Look:
    if recipe.look is None:
        raise ValueError(f"{recipe.name} has no pictures")
    return recipe.look


def corners_px(recipe: Recipe) -> Array:
    """Panel corners in the first photo, as somebody who clicks on them would find them."""
    flow = recipe.flow
    corners = [(0, 0), (flow.length_mm, 0), (flow.length_mm, flow.width_mm), (0, flow.width_mm)]
    exact = _look(recipe).camera.recorded_px(np.array(corners, float))
    shake = np.random.default_rng([recipe.seed, 8]).normal(0, 0.3, (4, 2))
    return np.round(exact + shake, 1)


def panel_toml(recipe: Recipe) -> str:
    """Give the panel's record, as a technician would write it."""
    flow = recipe.flow
    if recipe.look is None:
        frames, scale = 'source = "marks.csv"', ""
    elif recipe.video:
        frames = f'source = "run.mp4"\nspeed_up = {recipe.video[1]:g}'
    else:
        frames = 'source = "frames"'
    if recipe.look and recipe.look.marker_mm:
        centres = marker_centres_mm(flow, recipe.look).tolist()
        scale = (
            f'\n[scale]\nmethod = "sheet"\nmarker_mm = {recipe.look.marker_mm:g}\n'
            f"marker_centres_mm = {centres}\n"
        )
    elif recipe.look:
        scale = f'\n[scale]\nmethod = "corners"\ncorners_px = {corners_px(recipe).tolist()}\n'
    part_length, part_area, part_thick = recipe.part
    return f"""# An invented panel from an invented shop that makes covers for tram roof equipment.
# {recipe.answer}

[panel]
name = "{recipe.title}"
length_mm = {flow.length_mm}
width_mm = {flow.width_mm}
flow = "edge"

[frames]
{frames}
{scale}
[stack]
porosity = {flow.phi}

[resin]
viscosity_mpas = {flow.mu_pa_s * 1000:g}
gel_time_min = {recipe.gel_time_min:g}
density_kg_m3 = {recipe.density_kg_m3:g}
temperature_c = {recipe.temperature_c:g}

[vacuum]
pressure_difference_mbar = {flow.dp_pa / 100:g}

[part]
flow_length_mm = {part_length:g}
area_m2 = {part_area:g}
thickness_mm = {part_thick:g}
"""


def true_front(arrival_s: Array, time_s: float) -> dict[str, float]:
    """Measure the true front at a time: over 1 mm lanes of the furthest wet x."""
    lanes = leading_front_mm(arrival_s, time_s)
    wet = float(np.mean(arrival_s <= time_s)) if time_s > 0 else 0.0
    values = {
        "wetted_fraction": wet,
        "wetted_length_mean_mm": wet * arrival_s.shape[1],
        "front_mean_mm": float(lanes.mean()),
        "front_median_mm": float(np.median(lanes)),
        "front_min_mm": float(lanes.min()),
        "front_max_mm": float(lanes.max()),
    }
    return {key: round(value, 4) for key, value in values.items()}


def _truth_head(recipe: Recipe) -> dict[str, Any]:
    flow, look = recipe.flow, recipe.look
    head: dict[str, Any] = {
        "scenario": recipe.name,
        "title": recipe.title,
        "panel_mm": {"length": flow.length_mm, "width": flow.width_mm},
        "coordinates": "x along the flow from the feed edge, y across, mm",
        "flow": "linear",
        "front_definition": "furthest wet x per 1 mm lane of y, then over all lanes",
        "resin_start": recipe.start,
        "time_zero": "resin start (s); negative before",
        "physics": {
            "K_m2": flow.k_m2,
            "dP_Pa": flow.dp_pa,
            "phi": flow.phi,
            "mu_Pa_s": flow.mu_pa_s,
        },
        "fit_window_s": [0, None],
    }
    if look is not None:
        camera = look.camera
        corners = [(0, 0), (flow.length_mm, 0), (flow.length_mm, flow.width_mm), (0, flow.width_mm)]
        head["panel_corners_px_frame0"] = (
            camera.recorded_px(np.array(corners, float)).round(3).tolist()
        )
        head["camera"] = {
            "image_size": [WIDTH, HEIGHT],
            "K": camera.matrix().tolist(),
            "dist_coeffs": [camera.k1, 0, 0, 0, 0],
            "note": "homography maps panel mm to ideal pixels (centres at whole numbers); "
            "dist_coeffs (OpenCV order) then give recorded pixels",
        }
    return head


def truth_frames(recipe: Recipe, shots: list[Shot], arrival_s: Array) -> list[dict[str, Any]]:
    """Give one truth row for each frame."""
    start, base = datetime.fromisoformat(recipe.start), _look(recipe).camera.homography()
    rows = []
    for i, shot in enumerate(shots):
        move = np.eye(3)
        move[:2, 2] = shot.moment.drift_px
        rows.append(
            {
                "index": i,
                "file": shot.name,
                "time_s": round(shot.time_s, 3),
                "exif_datetime": _taken(start, shot.time_s).strftime("%Y:%m:%d %H:%M:%S"),
                "homography_panel_mm_to_px": [
                    [float(f"{v:.9g}") for v in row] for row in move @ base
                ],
                "occluded_by_hand": shot.moment.reach is not None,
                **true_front(arrival_s, shot.time_s),
            }
        )
    return rows


def _taken(start: datetime, time_s: float) -> datetime:
    return start + timedelta(milliseconds=round(time_s * 1000))


def pen_marks(recipe: Recipe, arrival_s: Array) -> tuple[str, list[dict[str, Any]]]:
    """Read the front as somebody with pen and tape would: marks.csv and the truth of each mark."""
    rng = np.random.default_rng([recipe.seed, 9])
    lines, rows = ["time_min,distance_mm"], []
    for i, minute in enumerate(MARKS_MIN):
        true = true_front(arrival_s, 60.0 * minute)
        read = min(round(true["front_mean_mm"] + float(rng.normal(0, 1.5))), recipe.flow.length_mm)
        lines.append(f"{minute},{read}")
        rows.append({"index": i, "file": f"mark {i + 1}", "time_s": 60 * minute, **true})
    return "\n".join(lines) + "\n", rows


def make(recipe: Recipe, folder: Path, say: Callable[[str], None]) -> None:
    """Write one panel folder."""
    say(f"{recipe.name}: solving the flow")
    arrival_s = arrival_map(recipe.flow, recipe.seed)
    if recipe.look is None:
        text, rows = pen_marks(recipe, arrival_s)
        write_text(folder / "marks.csv", text)
    else:
        shots = schedule(recipe, arrival_s)
        rows = truth_frames(recipe, shots, arrival_s)
        say(f"{recipe.name}: setting the bench")
        scene = build(recipe.flow, recipe.look, arrival_s, recipe.seed)
        _save_frames(recipe, scene, shots, folder, say)
    write_text(folder / "panel.toml", panel_toml(recipe))
    write_text(folder / "truth" / "truth.json", write.truth_text(_truth_head(recipe), rows))
    write.save_arrival(folder / "truth" / "arrival.npz", arrival_s)


def _save_frames(
    recipe: Recipe, scene: Scene, shots: list[Shot], folder: Path, say: Callable[[str], None]
) -> None:
    def take(index: int) -> NDArray[np.uint8]:
        if index % 10 == 0:
            say(f"{recipe.name}: frame {index + 1} of {len(shots)}")
        return render(recipe, scene, shots, index)

    if recipe.video:

        def feed(add: Callable[[NDArray[np.uint8]], None]) -> None:
            for index in range(len(shots)):
                add(take(index))

        write.save_video(folder / "run.mp4", recipe.video[0], (WIDTH, HEIGHT), feed)
        return
    start = datetime.fromisoformat(recipe.start)
    for index, shot in enumerate(shots):
        write.save_photo(folder / "frames" / shot.name, take(index), _taken(start, shot.time_s))


def main(arguments: list[str] | None = None) -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Make the sample panels again.")
    parser.add_argument(
        "--only", choices=sorted({**RECIPES, **PART_RECIPES}), help="make this panel only"
    )
    parser.add_argument("--to", type=Path, default=HERE, help="folder to write to")
    chosen = parser.parse_args(arguments)
    for name, recipe in RECIPES.items():
        if chosen.only in (None, name):
            make(recipe, chosen.to / name, lambda line: print(line, file=sys.stderr))
    for name, part in PART_RECIPES.items():
        if chosen.only in (None, name):
            make_part(part, chosen.to / name, lambda line: print(line, file=sys.stderr))


if __name__ == "__main__":
    main()
