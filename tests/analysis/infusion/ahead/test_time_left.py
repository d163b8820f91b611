"""What is left, until when, and against gel: a straight front with known times."""

import numpy as np
import pytest

from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.ahead.time_left import time_left
from analysis.infusion.seen.on_plan import bring_on_plan
from analysis.part.grid.canvas import lay_canvas
from analysis.part.plan.outline import rectangle
from analysis.part.plan.plan import PartPlan, PartStack
from tests.made_up.part_seen import part_seen


@pytest.fixture(scope="module")
def links():
    plan = PartPlan(rectangle(300, 100), (), PartStack(1e-10, 1e-10, 0.0, 0.5, 3.0))
    return lay_canvas(plan, 60).links


def ahead_at(links, last_s):
    true = (links.centre_mm[:, 0] / 5.0) ** 2  # full at 3540 s, half of it wet at 900 s
    return look_ahead(bring_on_plan(part_seen(links, true, last_s=last_s), links), true)


def test_left_share_and_end_with_its_interval(links):
    left = time_left(ahead_at(links, 900.0), doubt=0.1)
    assert left.left_share == pytest.approx(0.5, abs=0.02)
    assert left.end_s == pytest.approx(3540.0, rel=0.02)
    assert left.high_s == pytest.approx(900.0 + (left.end_s - 900.0) * np.exp(0.1))
    assert left.low_s < left.end_s < left.high_s
    assert (left.margin_s, left.before_gel) == (None, "not known")


@pytest.mark.parametrize(("gel_s", "said"), [(7200.0, "yes"), (3600.0, "perhaps"), (2400.0, "no")])
def test_against_gel(links, gel_s, said):
    left = time_left(ahead_at(links, 900.0), gel_s)
    assert left.before_gel == said
    assert left.margin_s == pytest.approx(gel_s - left.end_s)


def test_a_full_part_has_nothing_left(links):
    left = time_left(ahead_at(links, 4000.0), 3000.0)
    assert left.filled
    assert left.left_share == 0.0
    assert left.low_s == left.end_s == left.high_s == pytest.approx(3540.0, rel=0.01)
    assert left.before_gel == "no"


def test_what_the_forecast_never_reaches_is_never_full(links):
    true = (links.centre_mm[:, 0] / 5.0) ** 2
    on = bring_on_plan(part_seen(links, true, last_s=900.0), links)
    left = time_left(look_ahead(on, np.where(true > 2500, np.inf, true)), 7200.0)
    assert np.isinf(left.end_s)
    assert left.before_gel == "no"
