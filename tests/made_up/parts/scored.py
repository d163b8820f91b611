"""How what was found of a made-up part is held against the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from analysis.infusion.ahead.cut_offs import CutOff, find_cut_offs
from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.answer.clock import opening_impulses, times_of
from analysis.part.flow.filling import fill_plan
from analysis.part.grid.network import Links
from analysis.part.plan.part_toml import PartJob
from sample_frames._part_world import Filled, World
from tests.made_up.part_seen import part_seen
from tests.made_up.parts.cut_offs import HOSES, Closing, flow_case, job_of
from vision.part_records import PartSeen
from vision.records import FloatArray

LOOKS = 24


@dataclass(frozen=True)
class ArrivalScore:
    """Of the places seen: how many are right, how far off, how many wrong beyond what is said."""

    seen_share: float
    within_share: float
    median_off: float
    silent_share: float


def at_places(filled: Filled, x_mm: FloatArray, y_mm: FloatArray) -> FloatArray:
    """True time at places of the part, between its pixels; that of the nearest beyond its rim."""
    near = ndimage.distance_transform_edt(
        ~filled.inside, return_distances=False, return_indices=True
    )
    time_s = filled.time_s[tuple(near)]
    size = float(filled.x_mm[1] - filled.x_mm[0])
    col, row = (x_mm - filled.x_mm[0]) / size, (y_mm - filled.y_mm[0]) / size
    return np.asarray(ndimage.map_coordinates(time_s, [row, col], order=1, mode="nearest"))


def score_arrival(seen: PartSeen, filled: Filled) -> ArrivalScore:
    """Hold an arrival map against the truth: within 2 % of the fill time or not.

    A place is wrong in silence where it counts as seen and is off by more than three stated
    uncertainties and more than 2 % of the fill time.
    """
    x, y = np.meshgrid(seen.x_mm, seen.y_mm)
    true = at_places(filled, x, y)
    told = seen.inside & seen.seen
    off = np.abs(seen.time_s - true)[told]
    off = np.where((true[told] > seen.last_s) & ~np.isfinite(seen.time_s[told]), 0.0, off)
    bound = 0.02 * filled.fill_s
    sd = np.hypot(np.nan_to_num(seen.sd_s[told]), seen.start_sd_s)
    silent = (off > bound) & (off > 3 * sd)
    return ArrivalScore(
        float(told.sum() / seen.inside.sum()),
        float((off <= bound).mean()),
        float(np.median(off) / filled.fill_s),
        float(silent.mean()),
    )


def forecast_of(job: PartJob) -> tuple[Links, FloatArray]:
    """Return the plan's own cells and its arrival times there."""
    filling = fill_plan(job.plan, opening_impulses(job.plan, job.impulse))
    links = filling.links
    return links, np.asarray(times_of(job.impulse, filling.arrival[: links.cells]))


@dataclass(frozen=True)
class CutOffScore:
    """What was said of the areas that are cut off.

    The lead in minutes of the first that is, and how often another was told: as likely, and as
    something that may happen.
    """

    closing: Closing | None
    lead_min: float
    false_alarms: int
    false_may: int


def score_cut_offs(
    kind: str,
    name: str,
    plan: Callable[[World], World] = lambda world: world,
    looks: int = LOOKS,
    hose: str = "",
    cells: int = 120,
) -> CutOffScore:
    """Look at a run again and again as it fills, and note when a cut-off was first told.

    It must be told from then on at every look until it closes; what is told of another place is a
    false alarm. The forecast is that of the part as it is, or as `plan` makes it out. What lies
    under a `hose` never shows wet. `cells` are those along the plan's longest side.
    """
    world, filled, true = flow_case(kind, name)
    job = job_of(plan(world))
    job = replace(job, plan=replace(job.plan, cells=cells))
    links, planned = forecast_of(job)
    centre = links.centre_mm[: links.cells]
    arrival = at_places(filled, centre[:, 0], centre[:, 1])
    closing = true[0] if true else None
    end = closing.time_s if closing else 0.98 * filled.fill_s
    told: list[tuple[float, bool]] = []
    false = may = 0
    under = HOSES[hose](*centre.T) if hose else np.zeros(links.cells, bool)
    for time_s in np.linspace(0.1, 0.999, looks) * end:
        seen = part_seen(links, arrival, last_s=float(time_s), noise_s=2.0)
        on = bring_on_plan(seen, links)
        on.time_s[under], on.seen[under] = np.inf, False
        cuts = find_cut_offs(job.plan, look_ahead(on, planned))
        true_ones = [closing is not None and _is(cut, closing, centre) for cut in cuts]
        pairs = [(cut.likely, right) for cut, right in zip(cuts, true_ones, strict=True)]
        told.append((float(time_s), any(likely and right for likely, right in pairs)))
        false += sum(likely and not right for likely, right in pairs)
        may += sum(not (likely or right) for likely, right in pairs)
    since = end
    for time_s, right in reversed(told):
        if not right:
            break
        since = time_s
    return CutOffScore(closing, (end - since) / 60.0 if closing else 0.0, false, may)


def _is(cut: CutOff, closing: Closing, centre_mm: FloatArray) -> bool:
    """Whether an area told of holds the place that is cut off, to 40 mm."""
    cells = centre_mm[cut.cells[: len(centre_mm)]]
    away = np.hypot(cells[:, 0] - closing.x_mm, cells[:, 1] - closing.y_mm)
    return bool(len(away) and away.min() <= 40.0)
