"""Parts in which a dry area is cut off from every vent, and runs in which none is: flow alone."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from scipy import ndimage

from analysis.part.plan.part_toml import PartJob, read_part
from sample_frames._part_flow import fill
from sample_frames._part_make import plan_toml
from sample_frames._part_world import Clock, Filled, Inlet, Layup, Outlet, Patch, Slot, World
from tests.made_up.parts.cases import CLOTH, DISC, ELL, OCTAGON, PLATE, STRIP, box, line

SLOW = Clock(95_000.0, 1.2)
PX_MM = 5.0
LEAST_MM2 = 800.0
STEPS = 400


@dataclass(frozen=True)
class Closing:
    """When a dry area lost its last vent, how large it was, and a place in it."""

    time_s: float
    area_mm2: float
    x_mm: float
    y_mm: float


def _near(filled: Filled, outlet: Outlet) -> np.ndarray:
    """Pixels of the part under a vent, or the nearest one."""
    grid = np.stack(np.meshgrid(filled.x_mm, filled.y_mm), axis=-1)
    points = np.asarray(outlet.points_mm, float)
    share = np.linspace(0, 1, 200)[:, None]
    path = points if len(points) == 1 else points[0] + share * (points[-1] - points[0])
    away = np.min([np.hypot(*(grid - at).transpose(2, 0, 1)) for at in path], axis=0)
    away = np.where(filled.inside, away, np.inf)
    return away <= max(0.75 * PX_MM, float(away.min()) + 0.1)


def closings(filled: Filled, outlets: tuple[Outlet, ...]) -> list[Closing]:
    """Return each area that was cut off, earliest first.

    Dry pixels are joined over their sides; an area holds its vents while a pixel of one is dry.
    """
    vent = np.any([_near(filled, outlet) for outlet in outlets], axis=0)
    told = np.zeros(filled.inside.shape, bool)
    found = []
    for time_s in np.linspace(0, filled.fill_s, STEPS):
        dry = filled.inside & (filled.time_s > time_s)
        label, count = ndimage.label(dry)
        for number in range(1, count + 1):
            here = label == number
            area = float(here.sum()) * PX_MM**2
            if area < LEAST_MM2 or (here & (vent | told)).any():
                continue
            told |= here
            row, col = np.argwhere(here).mean(axis=0).round().astype(int)
            found.append(Closing(float(time_s), area, filled.x_mm[col], filled.y_mm[row]))
    return found


def _slow(points, share, name="tight patch"):
    return Patch(name, points, replace(CLOTH, k1_m2=share * CLOTH.k1_m2, k2_m2=share * CLOTH.k2_m2))


def _plate(*patches, inlets=(), outlets=(), slots=(), outline=PLATE, holes=()):
    return World(
        outline,
        CLOTH,
        inlets or (Inlet("left", line((0, 0), (0, 320))),),
        outlets or (Outlet("right", line((480, 0), (480, 320))),),
        holes_mm=holes,
        patches=patches,
        slots=slots,
        clock=SLOW,
    )


FRAME = (box(190, 110, 290, 210),)
"""A hole in the plate, such as a hatch."""
BOTH = (Inlet("left", line((0, 0), (0, 320))), Inlet("right", line((480, 0), (480, 320))))
RIM = tuple(Outlet(f"rim {k}", DISC[[6 * k, 6 * k + 3]]) for k in range(8))
TOP = line((0, 0), (480, 0))
STRIP_WAYS = {
    "outline": STRIP,
    "inlets": (Inlet("end", line((0, 0), (0, 160))),),
    "outlets": (Outlet("far", line((640, 0), (640, 160))),),
}
BOTH_ENDS = {
    "outline": OCTAGON,
    "inlets": (Inlet("middle", line((260, 0), (260, 320))),),
    "outlets": (
        Outlet("left", line((0, 60), (0, 260))),
        Outlet("right", line((520, 60), (520, 260))),
    ),
}

CUT_OFF = {
    "patch": _plate(_slow(box(180, 80, 320, 240), 0.02)),
    "patch early": _plate(_slow(box(100, 80, 220, 240), 0.02)),
    "patch late": _plate(_slow(box(260, 60, 400, 200), 0.02)),
    "race to the vent": _plate(
        outlets=(Outlet("corner", line((475, 5))),), slots=(Slot(TOP, 0.6),)
    ),
    "vent in the way": _plate(outlets=(Outlet("middle", line((240, 160))),)),
    "strip": _plate(_slow(box(240, 30, 380, 130), 0.02), **STRIP_WAYS),
    "octagon": _plate(_slow(box(320, 80, 450, 240), 0.02), **BOTH_ENDS),
    "two lines": _plate(
        inlets=BOTH,
        outlets=(Outlet("left of the middle", line((160, 0), (160, 320))),),
    ),
    "disc": _plate(
        _slow(box(240, 130, 340, 270), 0.02),
        outline=DISC,
        inlets=(Inlet("middle", line((200, 200)), radius_mm=6.0),),
        outlets=RIM,
    ),
    "frame": _plate(
        holes=FRAME, inlets=BOTH, outlets=(Outlet("above", line((240, 0), (240, 110))),)
    ),
    "ell": _plate(
        outline=ELL,
        inlets=(Inlet("top", line((0, 0), (480, 0))),),
        outlets=(Outlet("arm", line((475, 155))),),
    ),
}
GOOD = {
    "plain": _plate(),
    "soft patch": _plate(_slow(box(200, 100, 320, 220), 0.75)),
    "tight end": _plate(_slow(box(300, 0, 480, 320), 0.3)),
    "tight edge": _plate(_slow(box(100, 0, 300, 120), 0.5)),
    "race": _plate(slots=(Slot(TOP, 0.4),)),
    "race to a short vent": _plate(
        slots=(Slot(TOP, 0.4),), outlets=(Outlet("lower right", line((480, 160), (480, 320))),)
    ),
    "strip": _plate(_slow(box(260, 0, 420, 160), 0.3), **STRIP_WAYS),
    "octagon": _plate(**BOTH_ENDS),
    "disc": _plate(
        outline=DISC,
        inlets=(Inlet("middle", line((200, 200)), radius_mm=6.0),),
        outlets=RIM,
    ),
    "frame": _plate(holes=FRAME),
    "frame, two lines": _plate(
        holes=FRAME,
        inlets=BOTH,
        outlets=(
            Outlet("above", line((240, 0), (240, 110))),
            Outlet("below", line((240, 210), (240, 320))),
        ),
    ),
    "ell": _plate(
        outline=ELL,
        inlets=(Inlet("right", line((480, 0), (480, 160))),),
        outlets=(
            Outlet("foot", line((0, 360), (200, 360))),
            Outlet("side", line((0, 0), (0, 360))),
        ),
    ),
}


HOSE_MM = 24.0
"""Breadth of what lies on the part."""


def _across(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.abs(x - x.min() - 0.35 * np.ptp(x)) < HOSE_MM / 2


def _along(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.abs(y - y.min() - 0.45 * np.ptp(y)) < HOSE_MM / 2


def _slant(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    away = 0.9 * (x - x.min() - 0.3 * np.ptp(x)) - 0.45 * (y - y.min() - 0.5 * np.ptp(y))
    return np.abs(away) < HOSE_MM / 2


def _wall(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return y - y.min() < HOSE_MM


HOSES = {"across": _across, "along": _along, "slant": _slant, "wall": _wall}
"""Hoses laid over a part: which of some places, x and y in mm, lie under each."""

UNEVEN = 0.1
"""Log-normal spread of the cloth's K in the parts of a number."""


def numbered(number: int) -> World:
    """Return the part of a number: an outline, one or two feeds, vents, gaps, a patch, by chance.

    The same number gives the same part. Its cloth is uneven.
    """
    rng = np.random.default_rng(number)
    plate = line((0, 0), (0, 320)), line((480, 0), (480, 320))
    middle, corner = line((240, 0), (240, 320)), line((475, 5))
    short = line((480, 0), (480, 130))
    shapes = {
        "plate": (PLATE, (), [plate[:1], plate, (middle,)], [(plate[1],), (corner,), (short,)]),
        "frame": (PLATE, FRAME, [plate[:1], plate], [(plate[1],), (corner,), (short,)]),
        "ell": (
            ELL,
            (),
            [(line((0, 0), (480, 0)),), (line((480, 0), (480, 160)),)],
            [(line((0, 360), (200, 360)),), (line((475, 155)), line((100, 355)))],
        ),
        "octagon": (
            OCTAGON,
            (),
            [(line((0, 60), (0, 260)),), (line((260, 0), (260, 320)),)],
            [(line((520, 60), (520, 260)), line((0, 60), (0, 260))), (line((515, 65)),)],
        ),
        "strip": (STRIP, (), [(line((0, 0), (0, 160)),)], [(line((640, 0), (640, 160)),)]),
        "disc": (DISC, (), [(line((200, 200)),)], [tuple(o.points_mm for o in RIM)]),
    }
    name = str(rng.choice(list(shapes)))
    outline, holes, feeds, vents = shapes[name]
    inlets = feeds[int(rng.integers(len(feeds)))]
    outlets = vents[int(rng.integers(len(vents)))]
    low, size = outline.min(axis=0), np.ptp(outline, axis=0)
    x, y = low + size * rng.uniform(0.2, 0.6, 2) * (1.0, 0.3 if name == "ell" else 1.0)
    wide, tall = size * rng.uniform(0.15, 0.3, 2)
    patch = _slow(box(x, y, x + wide, y + tall), float(rng.choice([0.02, 0.3, 0.7, 1.4])))
    edge = line((0, 0), (size[0], 0)) if name in ("plate", "frame", "ell", "strip") else None
    gap = float(rng.choice([0.0, 0.4, 0.8]))
    return World(
        outline,
        replace(CLOTH, k2_m2=CLOTH.k1_m2 * rng.uniform(0.5, 1.0)),
        tuple(
            Inlet(f"feed {k}", points, radius_mm=0.0 if len(points) > 1 else 6.0)
            for k, points in enumerate(inlets, start=1)
        ),
        tuple(Outlet(f"vent {k}", points) for k, points in enumerate(outlets, start=1)),
        holes_mm=holes,
        patches=(patch,) if rng.integers(2) else (),
        slots=(Slot(edge, gap),) if gap and edge is not None else (),
        clock=SLOW,
        log_sd=UNEVEN,
    )


def nearly(world: World, seed: int) -> World:
    """Return a part as it is known once it was learnt from: cloth to 5 %, gaps to a tenth."""
    rng = np.random.default_rng(seed)

    def times(layup: Layup, factor: float) -> Layup:
        return replace(layup, k1_m2=factor * layup.k1_m2, k2_m2=factor * layup.k2_m2)

    return replace(
        world,
        layup=times(world.layup, rng.uniform(0.95, 1.05)),
        patches=tuple(
            replace(p, layup=times(p.layup, rng.uniform(0.95, 1.05))) for p in world.patches
        ),
        slots=tuple(
            replace(slot, width_mm=slot.width_mm * rng.uniform(0.9, 1.1)) for slot in world.slots
        ),
        log_sd=0.0,
    )


@cache
def flow_case(kind: str, name: str) -> tuple[World, Filled, list[Closing]]:
    """Return a case of kind "cut off", "good" or "number": part, filling, what is cut off."""
    if kind == "number":
        world = numbered(int(name))
    else:
        world = (CUT_OFF if kind == "cut off" else GOOD)[name]
    filled = fill(world, step_mm=16.0, px_mm=PX_MM, seed=int(name) if kind == "number" else 0)
    return world, filled, closings(filled, world.outlets)


def job_of(world: World) -> PartJob:
    """Return a part as the project reads its plan."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.toml"
        path.write_text(plan_toml("part", world, gel_time_min=600.0), encoding="utf-8")
        return read_part(path)


def otherwise(world: World) -> World:
    """Return the part as somebody planned it who knew it badly.

    Cloth 15 % slower than it is, patches half as open again, gaps a tenth narrower.
    """

    def times(layup: Layup, factor: float) -> Layup:
        return replace(layup, k1_m2=factor * layup.k1_m2, k2_m2=factor * layup.k2_m2)

    return replace(
        world,
        layup=times(world.layup, 0.85),
        patches=tuple(replace(p, layup=times(p.layup, 1.5)) for p in world.patches),
        slots=tuple(replace(slot, width_mm=0.9 * slot.width_mm) for slot in world.slots),
    )
