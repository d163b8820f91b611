"""Cloth under a hose behind the front: taken as wet, said once, and no dry area."""

import numpy as np
import pytest

from analysis.infusion.ahead.front_ahead import look_ahead
from analysis.infusion.ahead.not_seen import find_not_seen
from analysis.infusion.seen.on_plan import bring_on_plan
from tests.made_up.part_beside import filled, planned
from tests.made_up.part_seen import part_seen


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """Grid and arrival of a plate of 600 x 300 mm that is fed from the left."""
    job, answer = planned(tmp_path_factory.mktemp("plate"))
    seen, _ = filled(job, answer)
    links = answer.filling.links
    return links, seen.time_s[links.number >= 0]


def look(plate, hidden, share=0.5):
    """The part at a share of its fill time; what is hidden never showed wet."""
    links, arrival = plate
    on = bring_on_plan(part_seen(links, arrival, last_s=share * float(arrival.max())), links)
    x, y = links.centre_mm[: links.cells].T
    under = hidden(x, y)
    on.time_s[under], on.seen[under] = np.inf, False
    return on, under, look_ahead(on, arrival)


def test_a_hose_along_the_flow_is_wet_behind_the_front_and_dry_ahead_of_it(plate):
    links, arrival = plate
    on, under, ahead = look(plate, lambda x, y: np.abs(y - 150) < 12)
    wet = ~ahead.dry[: links.cells]
    true = arrival <= on.last_s
    assert np.mean(wet[under] == true[under]) > 0.95
    assert np.array_equal(wet[~under], true[~under])
    told = find_not_seen(ahead)
    assert told.area_mm2 == pytest.approx(links.grid.cell_m2 * 1e6 * (under & true).sum(), rel=0.1)
    assert abs(told.y_mm - 150) < 12


def test_what_lies_ahead_of_the_front_stays_dry(plate):
    _, under, ahead = look(plate, lambda x, y: np.abs(x - 520) < 12)
    assert ahead.dry[: len(under)][under].all()
    assert find_not_seen(ahead) is None


def test_cloth_beside_what_was_seen_dry_stays_dry(plate):
    # A dry place behind the front, the upper half of it under a hose.
    links, arrival = plate
    on = bring_on_plan(part_seen(links, arrival, last_s=0.6 * float(arrival.max())), links)
    x, y = links.centre_mm[: links.cells].T
    dry = (np.abs(x - 150) < 30) & (np.abs(y - 150) < 30)
    on.time_s[dry] = np.inf
    on.seen[dry & (y > 150)] = False
    ahead = look_ahead(on, arrival)
    assert ahead.dry[: links.cells][dry & (y < 150)].all()
    assert ahead.dry[: links.cells][dry].mean() > 0.6
