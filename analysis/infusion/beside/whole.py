"""What usually makes a whole part fill slower or quicker than planned."""

from __future__ import annotations

import numpy as np

from analysis.infusion.beside.causes import Cause
from analysis.infusion.beside.late import EARLY_SHARE, Late
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.part.answer.part_answer import PartAnswer

BANDS = 4
SLOWING = 1.15
"""Factor on the driving impulse, last quarter over first, from which on a front is slowing."""

COLD = Cause(
    "colder resin, or resin mixed earlier",
    "all places are late by about one factor",
    "temperature of resin, mould and shop, and when it was mixed",
)
WEAK = Cause(
    "less vacuum",
    "all places are late by about one factor",
    "the gauge at the bag, not at the pump; then the feed line's bore and length",
)
WARM = Cause(
    "warmer resin",
    "all places are early by about one factor",
    "temperature of resin, mould and shop: warmer resin gels sooner too",
)
LOOSE = Cause(
    "a looser stack than on the test panel",
    "all places are early by about one factor",
    "layers, flow media and the bag's pressure beside those of the panel",
)
LEAK = Cause(
    "a leak, so that the vacuum falls",
    "the front falls behind more and more as it goes",
    "the gauge at the bag with the pump shut off; tape, hoses and vents",
)
THICK = Cause(
    "resin that thickens sooner than planned",
    "the front falls behind more and more as it goes",
    "the rest in the pot: warm or stringy means shut the feeds before air is drawn",
)


def whole_causes(
    answer: PartAnswer, on: SeenOnPlan, late: Late, place_tells: bool
) -> tuple[tuple[Cause, ...], bool]:
    """Return what usually does what is true of all the part, and whether the front is slowing.

    Nothing is said of a pace that the plan's own doubts allow, nor of a front that slows where
    one place of the part already tells why (`place_tells`).
    """
    slowing = not place_tells and _slows(answer, on, late)
    found: tuple[Cause, ...] = (LEAK, THICK) if slowing else ()
    if late.agreed and late.factor > late.plan_high:
        found = (*found, COLD, WEAK)
    elif late.agreed and late.factor < late.plan_low:
        found = (*found, WARM, LOOSE)
    return found, slowing


def _slows(answer: PartAnswer, on: SeenOnPlan, late: Late) -> bool:
    """Return whether the factor on the impulse grows from each quarter of the wet area to the next.

    The places of each quarter must agree with each other, or it is a place that is late and not
    the part.
    """
    if not late.paced:
        return False
    theta = answer.filling.arrival[: on.links.cells]
    told = (
        late.compared
        & on.wet
        & (late.planned_s > EARLY_SHARE * float(np.max(late.planned_s[late.compared])))
    )
    if told.sum() < 10 * BANDS:
        return False
    ratio = np.log(np.maximum(answer.clock.impulse.at(on.time_s[told]), 1e-300) / theta[told])
    order = np.argsort(theta[told], kind="stable")
    bands = np.array_split(ratio[order], BANDS)
    middle = np.array([np.median(band) for band in bands])
    breadth = [float(np.subtract(*np.quantile(band, (0.9, 0.1)))) for band in bands]
    steady = bool((np.diff(middle) > 0).all())
    rise = float(middle[-1] - middle[0])
    return steady and rise > np.log(SLOWING) and max(breadth[1:]) < 0.8 * rise
