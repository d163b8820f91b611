"""The answer of a run on a part: the plan, what was seen, the two beside each other, the resin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.infusion.beside.compare_plan import Beside, compare
from analysis.infusion.learn.learnt import Learnt, Opening
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.seen.made_from import MadeFrom
from analysis.infusion.seen.on_plan import SeenOnPlan, bring_on_plan
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.plan.part_toml import PartJob
from vision.part_records import PartSeen
from vision.parts.uncertainty import filled_sd, unseen_share
from vision.records import FloatArray

POROSITY_SD, THICKNESS_SD = 0.02, 0.03
"""Relative standard uncertainty of a stack's porosity, as panel.toml takes it, and of its thickness
under a bag (common practice, no source)."""
HIDDEN_SHARE, UNSEEN_SHARE = 0.1, 0.3
"""Doubt of the time at a cell that was filled from around it, and of one that lies outside the
picture and is taken as planned, in parts of that time (judgement)."""

LEAST_TOLD = 0.05
"""Where less of the part than this can be told wet from dry, its share is not spread further."""


@dataclass(frozen=True)
class ResinSeen:
    """Resin in the part at each photo; arrays of shape (K,).

    Attributes
    ----------
    resin_in_kg, resin_in_sd_kg : ndarray, float
        From the pore volume of the cells that were wet, and its standard uncertainty: by how well
        the wet area was seen, by what was not seen, and by the stack's thickness and porosity.
        Density is taken as planned; what the media, lines and the pot's heel hold is not in it.
    planned_kg : ndarray, float
        What the plan has by then.
    """

    resin_in_kg: FloatArray
    resin_in_sd_kg: FloatArray
    planned_kg: FloatArray


@dataclass(frozen=True)
class InfusionAnswer:
    """What a run on a part found.

    Attributes
    ----------
    job : PartJob
    planned : PartAnswer
    seen : PartSeen
    on : SeenOnPlan
        The same on the plan's cells.
    resin : ResinSeen or None
    beside : Beside or None
        Both None where what was seen is not to be believed: nothing is compared then.
    learnt : Learnt or None
        The plan corrected by what was seen.
    not_learnt : str
        Why nothing was learnt.
    notes : tuple of str
        What was understood of part.toml and of the photos.
    made_from : MadeFrom or None
        Stamps of part.toml and photos; None where it was not made from files.
    ahead : PartNumbers or None
        What was still to come at the last photo; None once the part is full, or where that was
        not asked.
    openings : tuple of Opening
        When feeds that open after another gave resin.
    """

    job: PartJob
    planned: PartAnswer
    seen: PartSeen
    on: SeenOnPlan
    resin: ResinSeen | None
    beside: Beside | None
    learnt: Learnt | None = None
    not_learnt: str = ""
    notes: tuple[str, ...] = ()
    made_from: MadeFrom | None = None
    ahead: PartNumbers | None = None
    openings: tuple[Opening, ...] = ()

    @property
    def wet_share(self) -> float:
        """Share of the part that was wet when last seen; NaN where nothing could be measured."""
        told = self.seen.wetted_share[np.isfinite(self.seen.wetted_share)]
        return float(told[-1]) if self.seen.usable and len(told) else float("nan")


def answer_part_run(job: PartJob, planned: PartAnswer, seen: PartSeen) -> InfusionAnswer:
    """Return what follows from what was seen of a part; nothing is written.

    Parameters
    ----------
    job : PartJob
        What part.toml says.
    planned : PartAnswer
        Its plan, filled.
    seen : PartSeen
        What the camera saw.

    Raises
    ------
    WetlineError
        If the photos show nothing of the part though they were called usable.
    """
    on = bring_on_plan(seen, planned.filling.links)
    if not seen.usable:
        return InfusionAnswer(job, planned, seen, on, None, None)
    return InfusionAnswer(
        job, planned, seen, on, resin_seen(planned, seen, on), compare(job, planned, on)
    )


def resin_seen(planned: PartAnswer, seen: PartSeen, on: SeenOnPlan) -> ResinSeen:
    """Compute the resin in the part at each photo from the cells that were wet.

    Notes
    -----
    Behind a sharp front the pores are full (design assumption of the plan as well), so resin in is
    density times the pore volume that is wet. Its doubts are independent and add in squares (JCGM
    100:2008, 5.1.2): the wet share, in proportion; cells that nobody saw, each wet or not by its
    time and that time's doubt, all wrong together; porosity; and thickness, which at the same
    weight of fibre goes into the pores alone. What cannot be told wet from dry is taken to be as
    wet as the rest; the doubt of the wet share holds that it may be dry, or full. What that doubt
    holds of cloth that was filled is counted among the cells that nobody saw, and once.
    """
    cells = on.links.cells
    pores = on.links.pore_m3[:cells] * planned.density_kg_m3
    time_s = np.where(np.isnan(on.time_s), planned.arrival_s[on.links.number >= 0], on.time_s)
    order = np.argsort(time_s, kind="stable")
    taken = np.concatenate([[0.0], np.cumsum(pores[order])])
    mass = taken[np.searchsorted(time_s[order], seen.frame_s, side="right")]
    told = 1.0 - unseen_share(seen.time_s, seen.seen, seen.inside, seen.frame_s)
    mass = np.minimum(mass / np.maximum(told, LEAST_TOLD), taken[-1])
    area_sd = _rim_sd(seen) * float(pores.sum())
    stack_sd = mass * _stack_sd(planned)
    hidden_sd = _hidden_sd_kg(on, time_s, pores, seen.frame_s)
    flow = planned.flow
    plan = np.interp(seen.frame_s, flow.time_s, flow.resin_kg, left=0.0)
    sd = np.sqrt(area_sd**2 + stack_sd**2 + hidden_sd**2)
    return ResinSeen(mass, np.asarray(sd), plan)


def _rim_sd(seen: PartSeen) -> FloatArray:
    """Return the doubt of the wet share but for cloth that was filled from around it."""
    filled = filled_sd(seen.time_s, seen.sd_s, seen.seen, seen.inside, seen.frame_s)
    return np.asarray(np.sqrt(np.maximum(np.nan_to_num(seen.wetted_sd) ** 2 - filled**2, 0.0)))


def _stack_sd(planned: PartAnswer) -> float:
    """Return the relative doubt of the pores of an area of stack."""
    porosity = float(np.mean([stack.porosity for stack in planned.plan.stacks]))
    return float(np.hypot(POROSITY_SD, THICKNESS_SD / porosity))


def _hidden_sd_kg(
    on: SeenOnPlan, time_s: FloatArray, pores_kg: FloatArray, frame_s: FloatArray
) -> FloatArray:
    """Return what the cells that nobody saw may add or take, one standard uncertainty."""
    hidden = ~on.seen
    if not hidden.any():
        return np.zeros(len(frame_s))
    when, kg = time_s[hidden], pores_kg[hidden]
    own = np.where(np.isnan(on.time_s[hidden]), UNSEEN_SHARE, HIDDEN_SHARE) * when
    sd_s = np.hypot(np.nan_to_num(on.sd_s[hidden]), np.where(np.isfinite(when), own, 1.0))
    with np.errstate(invalid="ignore"):
        wet = ndtr((frame_s[:, None] - when[None, :]) / sd_s[None, :])
    return np.asarray(np.sqrt(wet * (1.0 - wet)) @ kg)
