"""What usually makes a whole part fill slower or quicker than planned."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import theilslopes

from analysis.infusion.beside.causes import Cause
from analysis.infusion.beside.late import EARLY_SHARE, Late
from analysis.infusion.seen.on_plan import SeenOnPlan
from analysis.infusion.seen.turned import Lies
from analysis.part.answer.part_answer import PartAnswer
from vision.records import FloatArray

BANDS = 4
SLOWING = 1.1
"""Factor on the driving impulse, last quarter over first, from which on a front is slowing: uneven
cloth, and cloth a tenth or a quarter off beyond some line, make less of it (tried on fillings by
finite elements)."""
USUAL_BREADTH = 0.18
"""The span of a quarter's logarithms that uneven cloth makes (a twelfth of the time, common
practice, no source, over and under): nobody's place is late for that."""
LIKE_TURNED = 0.3
"""How near, in logarithms, the part's pace must lie to that of cloth turned by a quarter."""

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


TURNED = Cause(
    "cloth turned the wrong way",
    "the factor is that of the cloth's two permeabilities, and resin ran one way only",
    "which way the cloth's easy direction lies, beside the plan's angle_deg",
)


def whole_causes(
    answer: PartAnswer,
    on: SeenOnPlan,
    late: Late,
    place_tells: bool,
    lies: Sequence[Lies] = (),
) -> tuple[tuple[Cause, ...], bool]:
    """Return what usually does what is true of all the part, and whether the front is slowing.

    Nothing is said of a pace that the plan's own doubts allow, nor of a front that slows where
    one place of the part already tells why (`place_tells`). Cloth that may lie turned (`lies`) is
    spoken of where resin ran in one direction only and the pace is off by k1 over k2.
    """
    slowing = not place_tells and _slows(answer, on, late)
    found: tuple[Cause, ...] = (LEAK, THICK) if slowing else ()
    turned = (TURNED,) if _like_turned(answer, late, lies) else ()
    if late.agreed and late.factor > late.plan_high:
        found = (*found, COLD, *turned, WEAK)
    elif late.agreed and late.factor < late.plan_low:
        found = (*found, WARM, *turned, LOOSE)
    return found, slowing


def _like_turned(answer: PartAnswer, late: Late, lies: Sequence[Lies]) -> bool:
    """Return whether the part's pace is that of its main stack's cloth turned by a quarter."""
    if not late.agreed or not lies or lies[0] != "not told":
        return False
    stack = answer.plan.stack
    across = abs(float(np.log(stack.k1_m2 / stack.k2_m2)))
    off = abs(float(np.log(late.factor)))
    return off > 0.5 * across and abs(off - across) < LIKE_TURNED


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
    steady = bool((np.diff(middle) > 0).all())
    rise = float(middle[-1] - middle[0])
    breadth = [_breadth(band) for band in bands]
    return steady and rise > np.log(SLOWING) and max(breadth[1:]) < max(0.8 * rise, USUAL_BREADTH)


def _breadth(ratio: FloatArray) -> float:
    """Return the span that holds four fifths of a band, its own trend taken out."""
    rank = np.arange(len(ratio)) / len(ratio)
    some = slice(None, None, max(1, len(ratio) // 200))
    slope = float(theilslopes(ratio[some], rank[some]).slope)
    return float(np.subtract(*np.quantile(ratio - slope * rank, (0.9, 0.1))))
