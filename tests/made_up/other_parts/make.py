"""Folders of parts seen by the second eye: part.toml, frames/, truth/.

Run by hand: ``python tests/made_up/other_parts/make.py FOLDER [NAME ...]``.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[3]))

import cv2
import numpy as np
from scipy import ndimage

from sample_frames import _write as write
from sample_frames._part_flow import fill
from sample_frames._part_make import plan_toml, save_filled
from sample_frames._part_world import Filled, World
from tests.made_up.other_parts.eye import (
    Look,
    Pinhole,
    Stage,
    cloth_of,
    film,
    lay_cards,
    near_line,
    take,
    waves,
)
from vision.common.atomic_files import write_text

START = datetime.fromisoformat("2024-05-14T09:12:20+02:00")
NEVER = 1e9


@dataclass(frozen=True)
class Other:
    """A part of the second world; places in mm, x right and y down."""

    name: str
    world: World
    look: Look = field(default_factory=Look)
    photos: int = 30
    before: int = 2
    uneven: float = 0.3
    until: float = 1.05
    step_mm: float = 10.0
    tapped: tuple[int, ...] = ()
    tap_px: float = 2.5
    y_up: bool = False
    start_told: bool = True
    seed: int = 1


def mm_per_px(where: np.ndarray) -> float:
    """Return the usual size of a pixel on the table."""
    return float(np.median(np.hypot(*np.moveaxis(np.gradient(where, axis=1), -1, 0))))


def on_part(world: World, where: np.ndarray, cell_mm: float) -> np.ndarray:
    """Distance inside (positive) or outside (negative) of the part, in mm, at each pixel."""
    low, high = world.outline_mm.min(axis=0), world.outline_mm.max(axis=0)
    spare = 0.2 * float((high - low).max()) + 120
    cols, rows = np.ceil((high - low + 2 * spare) / cell_mm).astype(int)
    mask = np.zeros((rows, cols), np.uint8)
    for value, ring in ((1, world.outline_mm), *((0, hole) for hole in world.holes_mm)):
        px = (np.asarray(ring) - low + spare) / cell_mm - 0.5
        cv2.fillPoly(mask, [np.round(px * 16).astype(np.int32)], value, shift=4)
    away = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(1 - mask)
    at = ((where - (low - spare)) / cell_mm - 0.5).astype(np.float32)
    away = (away * cell_mm).astype(np.float32)
    return cv2.remap(
        away, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )


def arrival_of(filled: Filled, where: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return when each pixel wets, and the front's speed there in mm/s."""
    size = float(filled.x_mm[1] - filled.x_mm[0])
    near = ndimage.distance_transform_edt(
        ~filled.inside, return_distances=False, return_indices=True
    )
    time_s = filled.time_s[tuple(near)].astype(np.float32)
    slope = np.hypot(*np.gradient(ndimage.gaussian_filter(time_s, 0.8), size)).astype(np.float32)
    at = ((where - np.array([filled.x_mm[0], filled.y_mm[0]])) / size).astype(np.float32)
    kept = [
        cv2.remap(v, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for v in (time_s, slope)
    ]
    return kept[0], 1 / np.maximum(kept[1], 1e-3)


def set_stage(
    other: Other, filled: Filled, camera: Pinhole, cards: np.ndarray, card_mm: float
) -> Stage:
    """Lay all that does not change."""
    world, look = other.world, other.look
    rng = np.random.default_rng(other.seed)
    where = camera.to_mm()
    px = mm_per_px(where)
    depth = on_part(world, where, max(1.0, px / 2))
    low, high = world.outline_mm.min(axis=0), world.outline_mm.max(axis=0)
    table = np.array(look.table, np.float32) * (1 + 0.05 * waves(where, 300, rng))[..., None]
    table = table + 0.03 * (np.sin(where[..., 1] / 40 + waves(where, 500, rng)) > 0.9)[..., None]
    dry, wet = cloth_of(look, where, px, rng)
    around = depth[..., None]
    soft = np.clip(depth / px + 0.5, 0, 1)[..., None]
    pictures = []
    for cloth in (dry, wet):
        picture = table * (1 - soft) + cloth * soft
        ring = np.exp(-(((around + 22) / 5.0) ** 4)) * (0.6 + 0.4 * np.sin(where[..., :1] / 2))
        picture = picture * (1 - ring) + np.array([0.5, 0.5, 0.52], np.float32) * ring
        tape = (np.abs(around + 45) < 9).astype(np.float32)
        picture = picture * (1 - tape) + np.array(look.tape, np.float32) * tape
        pictures.append(picture.astype(np.float32))
    _tools(pictures, where, (low, high), rng)
    arrival, speed = arrival_of(filled, where)
    arrival = np.where(depth > 0, arrival, NEVER).astype(np.float32)
    line_s = _hoses(pictures, other, filled, where, arrival)
    covered = (depth > -45).astype(np.float32)
    shine = film(look, where, camera.eye, (low, high), rng) * covered
    if look.cards:
        for picture in pictures:
            lay_cards(picture, where, cards, card_mm)
    light, sun = _lights(look, where, (low, high), cards)
    shine = shine + 0.01 * covered
    return Stage(where, *pictures, shine, arrival, speed, line_s, light, {"sun": sun})


def _lights(look: Look, where, box, cards) -> tuple[np.ndarray, np.ndarray]:
    low, high = box
    across = (where - (low + high) / 2) / float((high - low).max())
    light = 1 + look.fall_off * (0.6 * across[..., 0] - 0.8 * across[..., 1])
    light = np.clip(light, 0.3, 1.8).astype(np.float32)
    if look.shadow_on_card:
        gone = where[..., 0] - cards[0][0] + 0.3 * (where[..., 1] - cards[0][1])
        light *= np.where(gone < 0, 0.35, 1.0).astype(np.float32)
    edge = np.clip((across[..., 0] + 0.5 * across[..., 1] - 0.05) * 60, -1, 1)
    return light, (1 + 0.2 * (edge + 1)).astype(np.float32)


def _tools(pictures, where, box, rng) -> None:
    low, high = box
    for _ in range(5):
        side = rng.integers(0, 2)
        x = rng.uniform(low[0], high[0])
        y = (low[1] - rng.uniform(100, 180)) if side else (high[1] + rng.uniform(100, 180))
        half = rng.uniform(8, 45, 2)
        colour = rng.uniform(0.03, 0.6, 3).astype(np.float32)
        on = (np.abs(where[..., 0] - x) < half[0]) & (np.abs(where[..., 1] - y) < half[1])
        for picture in pictures:
            picture[on] = colour


def _hoses(pictures, other: Other, filled: Filled, where, arrival) -> np.ndarray:
    """Lay feeds with their supply hoses, vents, and what lies over all; when each hose fills."""
    look, world = other.look, other.world
    line_s = np.full(where.shape[:2], NEVER, np.float32)
    low = world.outline_mm.min(axis=0)
    clear, amber = np.array([0.55, 0.56, 0.56]), np.array([0.10, 0.28, 0.42])
    for inlet in world.inlets:
        points = np.atleast_2d(np.asarray(inlet.points_mm, float))
        end = points[np.argmin(points[:, 1])]
        for path in (points, np.array([end, (end[0] + 20, low[1] - 400.0)])):
            on = near_line(where, path) < (inlet.radius_mm if len(path) == 1 else look.hose_mm / 2)
            pictures[0][on], pictures[1][on] = clear, amber
            line_s[on], arrival[on] = filled.opened_s[inlet.name] - 0.5, NEVER
    for outlet in world.outlets:
        on = near_line(where, np.atleast_2d(np.asarray(outlet.points_mm, float))) < look.hose_mm / 2
        for picture in pictures:
            picture[on] = 0.6
        arrival[on] = NEVER
    for path in look.over:
        on = near_line(where, path) < 8.0
        for picture in pictures:
            picture[on] = (0.06, 0.07, 0.25)
        line_s[on], arrival[on] = NEVER, NEVER
    return line_s


def photo_times(other: Other, fill_s: float, rng) -> np.ndarray:
    """Return when photos are taken: `before` of them dry, then unevenly until the end."""
    gaps = np.exp(rng.normal(0, other.uneven, other.photos))
    at = np.cumsum(gaps)
    zero = (at[other.before - 1] + at[other.before]) / 2 if other.before else 0.8 * at[0]
    return np.round((at - zero) / (at[-1] - zero) * other.until * fill_s, 1)


def _up(world: World, sum_mm: float) -> World:
    """Return the plan in coordinates whose y runs up."""

    def flip(points):
        return np.atleast_2d(np.asarray(points, float)) * (1, -1) + (0, sum_mm)

    return replace(
        world,
        outline_mm=flip(world.outline_mm),
        holes_mm=tuple(flip(h) for h in world.holes_mm),
        inlets=tuple(replace(i, points_mm=flip(i.points_mm)) for i in world.inlets),
        outlets=tuple(replace(o, points_mm=flip(o.points_mm)) for o in world.outlets),
        patches=tuple(replace(p, points_mm=flip(p.points_mm)) for p in world.patches),
    )


def _toml(other: Other, camera: Pinhole, cards: np.ndarray, card_mm: float, sum_mm: float) -> str:
    plan = _up(other.world, sum_mm) if other.y_up else other.world
    text = plan_toml(other.name.replace("_", " "), plan, 120.0)
    flip = np.array((1, -1 if other.y_up else 1)), np.array((0, sum_mm if other.y_up else 0))
    if other.y_up:
        text = text.replace("[outline]\n", '[outline]\ny_runs = "up"\n')
    text += '\n[frames]\nsource = "frames"\n'
    text += f'resin_start = "{START.isoformat()}"\n' if other.start_told else ""
    if other.look.cards:
        places = (cards * flip[0] + flip[1]).round(1).tolist()
        return text + (
            f'\n[scale]\nmethod = "sheet"\nmarker_mm = {card_mm:g}\nmarker_centres_mm = {places}\n'
        )
    mm = other.world.outline_mm[list(other.tapped)]
    px = camera.to_px(mm) + np.random.default_rng(other.seed).normal(
        0, other.tap_px / 1.41, mm.shape
    )
    return text + (
        f'\n[scale]\nmethod = "outline"\nphoto = "p0001.jpg"\npoints_px = {px.round(1).tolist()}\n'
        f"points_mm = {(mm * flip[0] + flip[1]).round(1).tolist()}\n"
    )


def make(other: Other, folder: Path) -> None:
    """Write the folder of one part."""
    world = other.world
    filled = fill(world, step_mm=other.step_mm, px_mm=other.step_mm / 2.5, seed=other.seed)
    low, high = world.outline_mm.min(axis=0), world.outline_mm.max(axis=0)
    sum_mm = float(low[1] + high[1])
    card_mm = float(np.clip(0.06 * (high - low).max(), 50, 190))
    out = 60 + card_mm
    cards = np.array(
        [low - out, (high[0] + out, low[1] - out), high + out, (low[0] - out, high[1] + out)]
    )
    camera = Pinhole(other.look, low, high, out + 0.8 * card_mm if other.look.cards else 70.0)
    stage = set_stage(other, filled, camera, cards, card_mm)
    rng = np.random.default_rng(other.seed + 77)
    times, rows = photo_times(other, filled.fill_s, rng), []
    on = filled.time_s[filled.inside]
    for number, time_s in enumerate(times):
        image = take(stage, other.look, float(time_s), number, len(times), rng)
        name = f"p{number + 1:04d}.jpg"
        taken = START + timedelta(milliseconds=round(1000 * float(time_s)))
        write.save_photo(folder / "frames" / name, image[..., ::-1], taken, other.look.quality)
        share = float((on <= time_s).mean()) if time_s > 0 else 0.0
        rows.append({"file": name, "time_s": float(time_s), "wetted_fraction": share})
    write_text(folder / "part.toml", _toml(other, camera, cards, card_mm, sum_mm))
    write_text(folder / "truth" / "truth.json", json.dumps({"frames": rows}))
    if other.y_up:
        filled = Filled(filled.x_mm, (sum_mm - filled.y_mm)[::-1], filled.time_s[::-1], {})
    save_filled(folder / "truth" / "arrival.npz", filled)


def main() -> None:
    """Make the parts named, or all."""
    from tests.made_up.other_parts.cases import OTHERS

    home = Path(sys.argv[1])
    for other in OTHERS:
        if (len(sys.argv) < 3 or other.name in sys.argv[2:]) and not (home / other.name).is_dir():
            make(other, home / other.name)
            print(other.name, flush=True)


if __name__ == "__main__":
    main()
