"""Planned and seen beside each other: where they part, and what usually does that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analysis.infusion.beside.causes import Cause, Scene, causes_of
from analysis.infusion.beside.late import FEWEST_CELLS, Late, find_late
from analysis.infusion.beside.sources import FeedSeen, Stray, find_feeds, find_strays
from analysis.infusion.beside.surroundings import Surroundings
from analysis.infusion.beside.whole import whole_causes
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.infusion.seen.turned import how_cloth_lies
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.part_toml import PartJob
from vision.errors import WetlineError
from vision.records import BoolArray

LEAST_AREA = 5e-3
"""Share of the part from which on a place is told of."""
LEAST_CELLS = 4


@dataclass(frozen=True)
class Patch:
    """A connected place that wetted early or late against the rest of the part.

    Attributes
    ----------
    cells : ndarray of shape (cells,), bool
    x_mm, y_mm : float
        A cell in its middle.
    area_mm2 : float
    where : str
        In words.
    late_s, late_sd_s : float
        The median of it against the plan at the part's pace, and its standard uncertainty;
        negative where early.
    most_s : float
        The greatest of it.
    at_least : bool
        Whether most of it was still dry when last seen, so that it is that late or later.
    beyond_plan : bool
        Whether it is beyond the plan's own doubts too.
    causes : tuple of Cause
        The likeliest first.
    """

    cells: BoolArray
    x_mm: float
    y_mm: float
    area_mm2: float
    where: str
    late_s: float
    late_sd_s: float
    most_s: float
    at_least: bool
    beyond_plan: bool
    causes: tuple[Cause, ...]


@dataclass(frozen=True)
class Beside:
    """A plan beside what was seen.

    Attributes
    ----------
    late : Late
        Cell by cell.
    patches : tuple of Patch
        Where the part is early or late against its own pace, largest first.
    feeds : tuple of FeedSeen
    strays : tuple of Stray
        Resin that no open feed can have sent.
    whole : tuple of Cause
        What usually does what is true of the part as a whole; none where its pace is as planned.
    slowing : bool
        Whether the front fell behind more and more.
    compared_share : float
        Share of the part's area where planned and seen could be compared.
    unseen_share : float
        Share of its area that was not seen.
    """

    late: Late
    patches: tuple[Patch, ...]
    feeds: tuple[FeedSeen, ...]
    strays: tuple[Stray, ...]
    whole: tuple[Cause, ...]
    slowing: bool
    compared_share: float
    unseen_share: float

    @property
    def pace_beyond_plan(self) -> bool:
        """Whether the part as a whole is slower or quicker than the plan's doubts allow."""
        late = self.late
        return late.agreed and not late.plan_low <= late.factor <= late.plan_high


def compare(job: PartJob, answer: PartAnswer, on: SeenOnPlan) -> Beside:
    """Compare a plan with what was seen.

    Parameters
    ----------
    job : PartJob
        What part.toml says.
    answer : PartAnswer
        Its plan, filled.
    on : SeenOnPlan
        What was seen, on the cells of the same plan.

    Returns
    -------
    Beside

    Raises
    ------
    WetlineError
        If what was seen lies on other cells, or nothing of the part was seen.
    """
    if on.links.cells != answer.filling.links.cells:
        raise WetlineError(f"{job.path}: the photos were brought to another plan: run it again")
    if not on.seen.any():
        raise WetlineError(
            f"{job.path}: nothing of the part was seen: check [scale] and [frames], and that the "
            "photos show this part"
        )
    around = Surroundings(job.plan, on.links)
    late = find_late(answer, on)
    feeds = find_feeds(answer, on, late, around)
    strays = find_strays(answer, on, late, around)
    lies = how_cloth_lies(job.plan, on, around.stack, late.planned_s)
    turned = frozenset(index for index, one in enumerate(lies) if one == "turned")
    one_way = frozenset(index for index, one in enumerate(lies) if one == "not told")
    scene = Scene(on, late, around, feeds, strays, turned, one_way)
    area = around.area_mm2
    patches = find_patches(scene)
    told = any(patch.causes[0].place_tells for patch in patches if patch.causes)
    whole, slowing = whole_causes(answer, on, late, told, lies)
    return Beside(
        late=late,
        patches=patches,
        feeds=feeds,
        strays=strays,
        whole=whole,
        slowing=slowing,
        compared_share=float(area[late.compared].sum() / area.sum()),
        unseen_share=float(area[~on.seen].sum() / area.sum()),
    )


def find_patches(scene: Scene) -> tuple[Patch, ...]:
    """Find connected places that are early or late against the part's own pace, largest first."""
    late, around = scene.late, scene.around
    if not late.paced or late.compared.sum() < FEWEST_CELLS:
        return ()
    found = []
    for side in (late.rest_s < 0, late.rest_s > 0):
        for cells in _connected(scene, late.uneven & side):
            area = float(around.area_mm2[cells].sum())
            if cells.sum() >= LEAST_CELLS and area > LEAST_AREA * around.area_mm2.sum():
                found.append(_patch(scene, cells, area))
    return tuple(sorted(found, key=lambda patch: -patch.area_mm2))


def _connected(scene: Scene, flags: BoolArray) -> list[BoolArray]:
    links = scene.on.links
    label, count = ndimage.label(links.field(flags.astype(float), 0.0) > 0, np.ones((3, 3)))
    name = label[links.number >= 0]
    return [name == k for k in range(1, count + 1)]


def _patch(scene: Scene, cells: BoolArray, area_mm2: float) -> Patch:
    late, around = scene.late, scene.around
    rest = late.rest_s[cells]
    middle = np.average(around.centre_mm[cells], axis=0, weights=around.area_mm2[cells])
    away = np.hypot(*(around.centre_mm[cells] - middle).T)
    x, y = around.centre_mm[cells][int(np.argmin(away))]
    return Patch(
        cells=cells,
        x_mm=float(x),
        y_mm=float(y),
        area_mm2=area_mm2,
        where=around.words(cells),
        late_s=float(np.median(rest)),
        late_sd_s=float(np.median(late.rest_sd_s[cells])),
        most_s=float(rest[np.argmax(np.abs(rest))]),
        at_least=bool(late.at_least[cells].mean() > 0.5),
        beyond_plan=bool(late.beyond[cells].mean() > 0.5),
        causes=causes_of(scene, cells),
    )
