"""Parts in which one thing is unlike the plan, filled by finite elements: its cause is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.infusion.seen.on_plan import SeenOnPlan, bring_on_plan
from analysis.part.answer.job import fill_part
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.part_toml import PartJob
from sample_frames._part_flow import fill
from sample_frames._part_world import Clock, Inlet, Outlet, Patch, Slot, World
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cases import CLOTH, ELL, LEFT, PLATE, RIGHT_VENT, TIGHT, box, line
from tests.made_up.parts.cut_offs import job_of
from tests.made_up.parts.scored import at_places

CELLS, NOISE, UNEVEN = 60, 0.004, 0.05
DRIVE = Clock(95_000.0, 0.6)
TWO_WAYS = replace(CLOTH, k1_m2=3.2e-10, k2_m2=1.2e-10)
ZONE = box(200, 40, 400, 280)
RIB = box(200, 0, 300, 320)


@dataclass(frozen=True)
class Trouble:
    """A part as planned and as it was, and the share of its fill time at which it is looked at."""

    planned: World
    true: World
    share: float


def _plate(**other) -> World:
    usual = {"layup": CLOTH, "inlets": (LEFT,), "outlets": (RIGHT_VENT,), "clock": DRIVE}
    return World(**{"outline_mm": PLATE, **usual, **other})


def _uneven(world: World, **other) -> World:
    return replace(world, **{"log_sd": UNEVEN, **other})


def _patched(world: World, factor: float, corners) -> World:
    """A place where the cloth lets through so many times as much as planned, not in the plan."""
    layup = replace(CLOTH, k1_m2=factor * CLOTH.k1_m2, k2_m2=factor * CLOTH.k2_m2)
    return _uneven(world, patches=(*world.patches, Patch("unlike", corners, layup)))


def _turned(world: World) -> World:
    cloth = replace(TWO_WAYS, angle_deg=90.0)
    patches = tuple(replace(patch, layup=cloth) for patch in world.patches)
    return _uneven(world, patches=patches) if patches else _uneven(world, layup=cloth)


PLAIN = _plate()
TWO_LINES = _plate(inlets=(LEFT, Inlet("middle line", line((260, 0), (260, 320)))))
FROM_POINT = _plate(inlets=(Inlet("point", line((240, 160)), radius_mm=8.0),), layup=TWO_WAYS)
ZONED = _plate(
    patches=(Patch("doubler", ZONE, TWO_WAYS),),
    inlets=(Inlet("point", line((300, 160)), radius_mm=8.0),),
)
ONE_WAY = _plate(layup=TWO_WAYS)
ZONE_ONE_WAY = _plate(patches=(Patch("doubler", ZONE, TWO_WAYS),))
RIBBED = _plate(patches=(Patch("rib", RIB, TIGHT),))
ANGLE = _plate(
    outline_mm=ELL,
    inlets=(Inlet("top line", line((0, 0), (480, 0))),),
    outlets=(Outlet("foot", line((20, 360), (180, 360))),),
)
INNER_WALL = Slot(line((200, 160), (200, 360)), 0.5)
HATCH = _plate(holes_mm=(box(220, 110, 300, 210),))

GOOD = {
    "plate": Trouble(PLAIN, _uneven(PLAIN), 0.75),
    "two lines": Trouble(TWO_LINES, _uneven(TWO_LINES), 0.75),
    "hatch": Trouble(HATCH, _uneven(HATCH), 0.5),
    "from a point": Trouble(FROM_POINT, FROM_POINT, 1.01),
    "zone": Trouble(ZONED, ZONED, 0.75),
    "angle": Trouble(ANGLE, ANGLE, 0.75),
}
"""Runs as planned; with cloth that is uneven, or even where resin spreads on."""
TROUBLES = {
    "shut feed": Trouble(TWO_LINES, _uneven(TWO_LINES, inlets=(LEFT,)), 0.5),
    "cold resin": Trouble(HATCH, _uneven(HATCH, clock=Clock(95_000.0, 0.9)), 0.6),
    # A vacuum that falls by a half each so many seconds.
    "falling vacuum": Trouble(ANGLE, _uneven(ANGLE, clock=replace(DRIVE, doubling_s=1000.0)), 0.75),
    # What a leak holds dry takes next to no resin.
    "held dry": Trouble(PLAIN, _patched(PLAIN, 1e-4, box(200, 120, 280, 200)), 0.02),
    "bridged corner": Trouble(ANGLE, _patched(ANGLE, 12.0, box(180, 130, 200, 190)), 0.75),
    "bridged hatch": Trouble(HATCH, _patched(HATCH, 12.0, box(180, 210, 320, 230)), 0.5),
    "bridged rib": Trouble(RIBBED, _patched(RIBBED, 15.0, box(150, 140, 300, 170)), 0.75),
    "turned cloth": Trouble(FROM_POINT, _turned(FROM_POINT), 0.5),
    "turned zone": Trouble(ZONED, _turned(ZONED), 0.75),
    "turned, one way": Trouble(ONE_WAY, _turned(ONE_WAY), 0.75),
}
ALIKE = {
    "race from a corner": Trouble(ANGLE, _uneven(ANGLE, slots=(INNER_WALL,)), 0.6),
    "turned zone, one way": Trouble(ZONE_ONE_WAY, _turned(ZONE_ONE_WAY), 0.5),
}
"""Runs whose cause looks like another one from where they are."""


def seen_of(trouble: Trouble) -> tuple[PartJob, PartAnswer, SeenOnPlan]:
    """Return the plan, its answer and what is seen of the part, with noise."""
    job = job_of(trouble.planned)
    job = replace(job, plan=replace(job.plan, cells=CELLS))
    answer = fill_part(job)
    links = answer.filling.links
    filled = fill(trouble.true, step_mm=10.0, px_mm=5.0, seed=3)
    arrival = at_places(filled, *links.centre_mm[: links.cells].T)
    # What takes next to no resin wets long after all else.
    last = trouble.share * filled.fill_s
    noise = NOISE * min(float(np.nanmax(answer.arrival_s)), filled.fill_s)
    seen = part_seen(links, arrival, noise_s=noise, sd_s=noise, last_s=last)
    return job, answer, bring_on_plan(seen, links)
