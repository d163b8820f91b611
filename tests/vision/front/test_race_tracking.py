"""Edges that race, and edges that only seem to."""

import numpy as np
import pytest

from tests.made_up.shop import flow as flows
from tests.made_up.shop.flow import SIZE_MM, Clock, Flow
from vision.front.race_tracking import find_race_tracking


def fronts_of(reach_mm, clock=None):
    flow = Flow(reach_mm, clock or Clock())
    return np.array([flow.lanes_mm(t) for t in np.linspace(5, 560, 30)])


@pytest.mark.parametrize("seed", range(8))
def test_a_wavy_front_does_not_race(seed):
    assert find_race_tracking(fronts_of(flows.wavy(0.07, seed)), SIZE_MM[0]).sides == ()


@pytest.mark.parametrize(
    ("lead", "decay_mm", "edges", "sides"),
    [
        (0.35, 12.0, ("low",), ("y = 0",)),
        (0.35, 12.0, ("high",), ("y = width",)),
        (0.2, 8.0, ("low", "high"), ("y = 0", "y = width")),
        (0.5, 20.0, ("high",), ("y = width",)),
    ],
)
def test_an_edge_whose_lead_dies_away_inward_races(lead, decay_mm, edges, sides):
    reach = flows.racing(lead, edges, decay_mm)
    found = find_race_tracking(fronts_of(reach, Clock(reach_mm=230.0)), SIZE_MM[0])
    assert found.sides == sides
    half = len(found.clean) // 2
    assert found.clean[half]
    assert found.clean[0] != ("low" in edges)
    assert found.clean[-1] != ("high" in edges)
