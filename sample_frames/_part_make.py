"""A made-up part as a folder: part.toml as planned, photos and truth as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_frames import _write as write
from sample_frames._part_flow import fill
from sample_frames._part_scene import PartLook, PartMoment, build_part, photograph_part
from sample_frames._part_world import Filled, Inlet, Layup, World
from sample_frames._scene import Reach
from vision.common.atomic_files import replace_file, write_text

Array = NDArray[np.floating]


@dataclass(frozen=True)
class PartRecipe:
    """A part: what was planned, what was so, how it is looked at and what goes wrong.

    `scale` is "sheet" or "outline" (`tapped` corners of the outline, by number). `moments` gives
    photos that are not like the rest: by number, the fields of `PartMoment` that differ; a "move"
    holds from there on.
    """

    name: str
    title: str
    planned: World
    true: World
    look: PartLook
    seed: int
    photos: int = 40
    before: int = 3
    start: str = "2024-09-11T10:04:30+02:00"
    gel_time_min: float = 90.0
    scale: str = "sheet"
    tapped: tuple[int, ...] = ()
    drift: float = 0.03
    moments: dict[int, dict[str, Any]] = field(default_factory=dict)
    step_mm: float = 10.0
    px_mm: float = 4.0
    quality: int = write.JPEG_QUALITY
    notes: str = ""


def turned(
    size_px: tuple[int, int], shift_px: tuple[float, float], turn_deg: float
) -> tuple[tuple[float, ...], ...]:
    """Move of the picture by a bump: turned about its middle, then shifted."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    col, row = np.array(size_px) / 2 - 0.5
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    to = np.array([[1, 0, col + shift_px[0]], [0, 1, row + shift_px[1]], [0, 0, 1]])
    back = np.array([[1, 0, -col], [0, 1, -row], [0, 0, 1]])
    return tuple(tuple(float(v) for v in line) for line in to @ turn @ back)


def photo_times_s(recipe: PartRecipe, fill_s: float) -> Array:
    """When the photos are taken: at a steady beat, as far as a person keeps one."""
    rng = np.random.default_rng([recipe.seed, 5])
    step = 1.03 * fill_s / (recipe.photos - recipe.before - 0.5)
    late = rng.normal(0, 0.04, recipe.photos).clip(-0.1, 0.1)
    return np.round((np.arange(recipe.photos) - recipe.before + 0.55 + late) * step, 3)


def moments(recipe: PartRecipe) -> list[PartMoment]:
    """Light, bumps and things in the way, photo by photo."""
    rng = np.random.default_rng([recipe.seed, 6])
    turn = np.linspace(0, 2 * np.pi, recipe.photos)
    exposure = 1 + recipe.drift * np.sin(1.3 * turn + rng.uniform(0, 6))
    exposure = exposure + rng.normal(0, 0.3 * recipe.drift, recipe.photos)
    warm = 0.4 * recipe.drift * np.sin(0.9 * turn + rng.uniform(0, 6))
    move, out = PartMoment().move, []
    for number in range(recipe.photos):
        extra = dict(recipe.moments.get(number, {}))
        move = extra.get("move", move)
        gain = tuple(float(g) for g in exposure[number] * (1 + warm[number] * np.array([1, 0, -1])))
        if isinstance(extra.get("reach"), tuple):
            extra["reach"] = Reach(*extra["reach"])
        out.append(replace(PartMoment(gain, move), **{**extra, "move": move}))
    return out


def _points(points: Array) -> str:
    return str(np.asarray(points, float).round(2).tolist())


def _stack_lines(layup: Layup) -> str:
    return (
        f"k1_m2 = {layup.k1_m2:g}\nk2_m2 = {layup.k2_m2:g}\nangle_deg = {layup.angle_deg:g}\n"
        f"porosity = {layup.porosity:g}\nthickness_mm = {layup.thickness_mm:g}\n"
    )


def _feed_lines(inlet: Inlet) -> str:
    points = np.asarray(inlet.points_mm, float)
    text = f'\n[[feed]]\nname = "{inlet.name}"\n'
    if len(points) > 1:
        text += f"line_mm = {_points(points)}\n"
    else:
        text += f"point_mm = {_points(points[0])}\nradius_mm = {inlet.radius_mm:g}\n"
    text += f"opens_at_s = {inlet.opens_at_s:g}\n" if inlet.opens_at_s else ""
    text += 'opens_when = "wet"\n' if inlet.opens_when_wet else ""
    return text + (f"resistance_mm = {inlet.resistance_mm:g}\n" if inlet.resistance_mm else "")


def part_px(recipe: PartRecipe, points_mm: Array) -> Array:
    """Where places of the part's surface appear in an undisturbed photo."""
    camera = replace(recipe.look.camera, rise_mm=recipe.look.height_mm)
    return camera.recorded_px(np.asarray(points_mm, float))


def _scale_lines(recipe: PartRecipe, photo: str) -> str:
    if recipe.scale == "sheet":
        centres = recipe.look.cards_mm
        if centres is None:
            raise ValueError(f"{recipe.name}: a sheet needs cards")
        return (
            f'\n[scale]\nmethod = "sheet"\nmarker_mm = {recipe.look.marker_mm:g}\n'
            f"marker_centres_mm = {_points(centres)}\n"
        )
    points = recipe.true.outline_mm[list(recipe.tapped)]
    shake = np.random.default_rng([recipe.seed, 8]).normal(0, 0.3, points.shape)
    return (
        f'\n[scale]\nmethod = "outline"\nphoto = "{photo}"\n'
        f"points_px = {np.round(part_px(recipe, points) + shake, 1).tolist()}\n"
        f"points_mm = {_points(points)}\n"
    )


def plan_toml(title: str, plan: World, gel_time_min: float, notes: str = "") -> str:
    """The plan alone, as a technician would write it."""
    clock = plan.clock
    text = "# An invented part of an invented shop that makes covers for tram roof equipment.\n"
    text += f"# {notes}\n" if notes else ""
    text += f'\nname = "{title}"\n\n[outline]\npoints_mm = {_points(plan.outline_mm)}\n'
    if plan.holes_mm:
        text += f"holes_mm = [{', '.join(_points(hole) for hole in plan.holes_mm)}]\n"
    text += "\n[stack]\n" + _stack_lines(plan.layup)
    for patch in plan.patches:
        text += f'\n[[zone]]\nname = "{patch.name}"\npoints_mm = {_points(patch.points_mm)}\n'
        text += _stack_lines(patch.layup)
    for slot in plan.slots:
        text += f"\n[[gap]]\nline_mm = {_points(slot.line_mm)}\nwidth_mm = {slot.width_mm:g}\n"
    text += "".join(_feed_lines(inlet) for inlet in plan.inlets)
    for outlet in plan.outlets:
        points = np.asarray(outlet.points_mm, float)
        where = "line_mm" if len(points) > 1 else "point_mm"
        text += f'\n[[vent]]\nname = "{outlet.name}"\n'
        text += f"{where} = {_points(points if len(points) > 1 else points[0])}\n"
    doubling = f"viscosity_doubling_min = {clock.doubling_s / 60:g}\n"
    text += f"\n[resin]\nviscosity_mpas = {1e3 * clock.mu_pa_s:g}\n"
    text += doubling if np.isfinite(clock.doubling_s) else ""
    text += f"gel_time_min = {gel_time_min:g}\ndensity_kg_m3 = 1120\n"
    text += f"\n[vacuum]\npressure_difference_mbar = {clock.dp_pa / 100:g}\n"
    return text + "\n[grid]\ncells = 120\n"


def part_toml(recipe: PartRecipe) -> str:
    """The plan with what the camera needs: frames, scale, and how high the surface lies."""
    text = plan_toml(recipe.title, recipe.planned, recipe.gel_time_min, recipe.notes)
    text += f'\n[frames]\nsource = "frames"\nresin_start = "{recipe.start}"\n'
    text += _scale_lines(recipe, photo_name(0))
    if recipe.look.height_mm:
        text += f"\n[surface]\nheight_mm = {recipe.look.height_mm:g}\nheight_varies_mm = 1\n"
    return text


def photo_name(number: int) -> str:
    """File name of a photo."""
    return f"photo_{number + 1:04d}.jpg"


def _world_row(world: World, filled: Filled) -> dict[str, Any]:
    """What was so, where it differs in number from the plan's record."""
    layups = [("stack", world.layup), *((p.name, p.layup) for p in world.patches)]
    return {
        "stacks": [
            {"name": name, "k1_m2": lay.k1_m2, "k2_m2": lay.k2_m2, "angle_deg": lay.angle_deg}
            for name, lay in layups
        ],
        "gap_widths_mm": [slot.width_mm for slot in world.slots],
        "feeds": [
            {
                "name": inlet.name,
                "resistance_mm": inlet.resistance_mm,
                "opened_s": round(filled.opened_s[inlet.name], 2),
            }
            for inlet in world.inlets
        ],
        "fill_time_s": round(filled.fill_s, 2),
    }


def _truth_text(recipe: PartRecipe, filled: Filled, times: Array, shots: list[PartMoment]) -> str:
    base = replace(recipe.look.camera, rise_mm=recipe.look.height_mm).homography()
    on = filled.time_s[filled.inside]
    rows = [
        {
            "file": photo_name(number),
            "time_s": float(time_s),
            "wetted_fraction": round(float((on <= time_s).mean()) if time_s > 0 else 0.0, 5),
            "homography_part_mm_to_px": [
                [float(f"{v:.9g}") for v in line] for line in np.array(shot.move, float) @ base
            ],
        }
        for number, (time_s, shot) in enumerate(zip(times, shots, strict=True))
    ]
    head = {
        "scenario": recipe.name,
        "resin_start": recipe.start,
        "planned": _world_row(recipe.planned, fill(recipe.planned, step_mm=recipe.step_mm))
        if recipe.planned is not recipe.true
        else "as it was",
        "true": _world_row(recipe.true, filled),
        "arrival": "arrival.npz: seconds since resin start (time_s) at pixel centres x_mm, y_mm",
    }
    return write.truth_text(json.loads(json.dumps(head)), rows)


def save_filled(path: Path, filled: Filled) -> None:
    """Write the true arrival map of a part."""
    time_s = filled.time_s.round(1).astype(np.float32)
    replace_file(
        path,
        lambda piece: np.savez_compressed(piece, time_s=time_s, x_mm=filled.x_mm, y_mm=filled.y_mm),
    )


def make_part(recipe: PartRecipe, folder: Path, say: Callable[[str], None]) -> Filled:
    """Write the folder of a part; give its true filling."""
    say(f"{recipe.name}: solving the flow")
    filled = fill(recipe.true, step_mm=recipe.step_mm, px_mm=recipe.px_mm, seed=recipe.seed)
    times, shots = photo_times_s(recipe, filled.fill_s), moments(recipe)
    say(f"{recipe.name}: setting the table")
    scene = build_part(recipe.true, filled, recipe.look, recipe.seed)
    start = datetime.fromisoformat(recipe.start)
    for number, (time_s, shot) in enumerate(zip(times, shots, strict=True)):
        if number % 10 == 0:
            say(f"{recipe.name}: photo {number + 1} of {recipe.photos}")
        image = photograph_part(scene, recipe.look, time_s, shot, (recipe.seed, 7, number))
        taken = start + timedelta(milliseconds=round(1000 * float(time_s)))
        write.save_photo(folder / "frames" / photo_name(number), image, taken, recipe.quality)
    write_text(folder / "part.toml", part_toml(recipe))
    write_text(folder / "truth" / "truth.json", _truth_text(recipe, filled, times, shots))
    save_filled(folder / "truth" / "arrival.npz", filled)
    return filled
