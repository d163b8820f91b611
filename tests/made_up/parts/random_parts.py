"""Parts drawn at random: outline, feeds, zones, gap, and a truth that is unlike the plan."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sample_frames._part_world import Array, Clock, Inlet, Layup, Outlet, Patch, Slot, World
from tests.made_up.parts.cases import box, line

VISCOSITY_SD, PRESSURE_SD = 0.05, 0.02
"""What part.toml takes for resin and vacuum where it says nothing."""
STEP_MM = 10.0


@dataclass(frozen=True)
class RandomPart:
    """A part as planned and as it is, and how it is looked at.

    Attributes
    ----------
    planned, true : World
    seed : int
        Of the unevenness of the cloth.
    share : float
        Of the true fill time after which it is looked at.
    noise : float
        Of each time, in parts of the fill time.
    hidden_mm : ndarray of shape (2, 2)
        Corners of a box that is not seen.
    """

    planned: World
    true: World
    seed: int
    share: float
    noise: float
    hidden_mm: Array

    def hides(self, x_mm: Array, y_mm: Array) -> Array:
        """Return whether places are hidden."""
        (x0, y0), (x1, y1) = self.hidden_mm
        return (x_mm > x0) & (x_mm < x1) & (y_mm > y0) & (y_mm < y1)


def random_part(seed: int, share: float | None = None) -> RandomPart:
    """Draw a part; the same seed gives the same part."""
    rng = np.random.default_rng([seed, 17])
    wide, high = (STEP_MM * rng.integers(*ends) for ends in ((36, 61), (18, 36)))
    outline = _outline(rng, wide, high)
    base = float(np.exp(rng.uniform(np.log(1e-10), np.log(4e-10))))
    ratio = float(rng.choice([1.0, 1.0, 1.6]))
    layup = Layup(base, base / ratio, float(rng.choice([0.0, 30.0, 90.0])), 0.5, 3.0)
    patches = _patches(rng, layup, wide, high)
    slots = (Slot(line((0, high), (wide, high)), float(rng.uniform(0.4, 1.0))),)
    slots = slots if rng.random() < 0.4 and len(outline) == 4 else ()
    inlets, outlets = _ports(rng, wide, high)
    planned = World(outline, layup, inlets, outlets, patches=patches, slots=slots)
    low = np.array([rng.uniform(0, 0.8 * wide), rng.uniform(0, 0.8 * high)])
    return RandomPart(
        planned,
        _as_it_is(rng, planned),
        seed,
        float(rng.uniform(0.4, 0.65)) if share is None else share,
        float(rng.uniform(0.001, 0.006)),
        np.array([low, low + np.array([0.2 * wide, 0.25 * high])]),
    )


def _outline(rng: np.random.Generator, wide: float, high: float) -> Array:
    cut = STEP_MM * round(0.3 * high / STEP_MM)
    shape = rng.integers(3)
    if shape == 1:
        left = STEP_MM * round(0.5 * wide / STEP_MM)
        return line(
            (0, 0), (wide, 0), (wide, high - cut), (left, high - cut), (left, high), (0, high)
        )
    if shape == 2:
        return line(
            (0, 0), (wide - cut, 0), (wide, cut), (wide, high - cut), (wide - cut, high), (0, high)
        )
    return box(0, 0, wide, high)


def _patches(rng: np.random.Generator, layup: Layup, wide: float, high: float) -> tuple[Patch, ...]:
    """Return up to two zones: one in the middle, one at the far end."""
    found = []
    for name, x0, x1, y0, y1 in (
        ("middle", 0.3, 0.55, 0.15, 0.6),
        ("far end", 0.72, 1.0, 0.0, 0.7),
    ):
        if rng.random() < 0.6:
            factor = float(np.exp(rng.normal(0.0, 0.4)))
            corners = box(x0 * wide, y0 * high, x1 * wide, y1 * high)
            found.append(Patch(name, corners, _times(layup, factor)))
    return tuple(found)


def _ports(
    rng: np.random.Generator, wide: float, high: float
) -> tuple[tuple[Inlet, ...], tuple[Outlet, ...]]:
    vent = (Outlet("right", line((wide, 0.4 * high), (wide, 0.6 * high))),)
    kind = rng.integers(3)
    if kind == 1:
        x = STEP_MM * round(0.25 * wide / STEP_MM)
        return (Inlet("first line", line((x, 20), (x, high - 40))),), vent
    if kind == 2:
        at = STEP_MM * np.round(np.array([[0.25 * wide, 0.4 * high]]) / STEP_MM)
        return (Inlet("point", at, radius_mm=6.0),), vent
    return (Inlet("left line", line((0, 0), (0, high))),), vent


def _times(layup: Layup, factor: float) -> Layup:
    return replace(layup, k1_m2=factor * layup.k1_m2, k2_m2=factor * layup.k2_m2)


def _as_it_is(rng: np.random.Generator, planned: World) -> World:
    """Return the truth: all K by one factor, each zone by its own, gap, feed, resin, vacuum."""
    shared = rng.normal(0.0, 0.25)

    def own(layup: Layup) -> Layup:
        return _times(layup, float(np.exp(shared + rng.normal(0.0, 0.15))))

    inlets = tuple(
        inlet
        if inlet.radius_mm
        else replace(inlet, resistance_mm=float(rng.choice([0.0, rng.uniform(3.0, 30.0)])))
        for inlet in planned.inlets
    )
    clock = Clock(
        planned.clock.dp_pa * float(np.exp(rng.normal(0.0, PRESSURE_SD))),
        planned.clock.mu_pa_s * float(np.exp(rng.normal(0.0, VISCOSITY_SD))),
    )
    return replace(
        planned,
        layup=own(planned.layup),
        patches=tuple(replace(patch, layup=own(patch.layup)) for patch in planned.patches),
        slots=tuple(
            replace(slot, width_mm=slot.width_mm * float(np.exp(rng.normal(0.0, 0.3))))
            for slot in planned.slots
        ),
        inlets=inlets,
        clock=clock,
        log_sd=float(rng.choice([0.0, 0.05, 0.1])),
    )


def drive_share(part: RandomPart) -> float:
    """Return the true driving impulse over that of the plan's resin and vacuum."""
    true, planned = part.true.clock, part.planned.clock
    return (true.dp_pa / true.mu_pa_s) / (planned.dp_pa / planned.mu_pa_s)


def true_numbers(world: World) -> dict[str, list[float]]:
    """Return the numbers of a world that a plan has too, by kind, in the plan's order."""
    layups = [world.layup, *(patch.layup for patch in world.patches)]
    return {
        "zone": [layup.k1_m2 for layup in layups],
        "gap": [slot.width_mm for slot in world.slots],
        "feed": [inlet.resistance_mm for inlet in world.inlets],
    }
