"""The wet share of a part of which some was not seen, against shares that are known."""

import numpy as np
import pytest

from vision.parts.uncertainty import may_be_wet_from, unseen_share, wet_share

SHAPE = (40, 100)
INSIDE = np.ones(SHAPE, bool)
X = np.broadcast_to(np.arange(SHAPE[1], dtype=float), SHAPE)  # wets at 1 px/s from the left
SD = np.full(SHAPE, 1.0)
AT = np.array([-30.0, 0.5, 24.5, 49.5, 99.5])


def with_hole(columns, shown_dry=True, time_s=X):
    """Arrival and what was seen of it, with columns not seen."""
    seen = INSIDE.copy()
    seen[10:30, columns] = False
    time_s = np.where(~seen & shown_dry, np.inf, time_s)
    return time_s, seen


def test_all_seen_is_counted_without_doubt():
    share, sd = wet_share(X, SD, INSIDE, INSIDE, AT)
    assert share == pytest.approx([0.0, 0.01, 0.25, 0.5, 1.0])
    assert sd == pytest.approx(np.zeros(5))


def test_hidden_cloth_that_never_showed_wet_is_no_dry_cloth():
    time_s, seen = with_hole(slice(60, 80))
    share, sd = wet_share(time_s, SD, seen, INSIDE, AT)
    # Its rim is dry until 59 s: resin cannot be there before, and it counts as dry.
    assert share[:4] == pytest.approx([0.0, 0.01, 0.25, 0.5])
    assert sd[:4] == pytest.approx(np.zeros(4), abs=1e-9)
    # At the end all that was seen is wet; of the whole part 90 % surely, 100 % perhaps.
    assert share[4] == pytest.approx(1.0)
    assert share[4] - 2 * sd[4] < 0.9
    # Uniform between the two (JCGM 100:2008, 4.3.7) about the upper end of it.
    assert sd[4] == pytest.approx(0.1 * np.sqrt(1 / 12 + 1 / 4))


def test_hidden_cloth_may_be_wet_once_the_first_of_its_rim_is():
    time_s, seen = with_hole(slice(60, 80))
    from_s = may_be_wet_from(time_s, seen, INSIDE)
    assert np.all(from_s[~seen] == 59.0)
    assert np.isinf(from_s[seen]).all()
    lost = unseen_share(time_s, seen, INSIDE, np.array([58.9, 59.0]))
    assert lost == pytest.approx([0.0, 0.1])


def test_hidden_cloth_amid_dry_cloth_stays_dry():
    dry_from_50 = np.where(X < 50, X, np.inf)
    time_s, seen = with_hole(slice(60, 80), time_s=dry_from_50)
    share, sd = wet_share(time_s, SD, seen, INSIDE, AT)
    assert share[4] == pytest.approx(0.5)
    assert sd[4] == 0.0


def test_what_was_filled_is_in_doubt_while_the_front_is_under_it():
    time_s, seen = with_hole(slice(20, 30), shown_dry=False)
    share, sd = wet_share(time_s, np.full(SHAPE, 5.0), seen, INSIDE, AT)
    assert share == pytest.approx([0.0, 0.01, 0.25, 0.5, 1.0])
    assert 0.01 < sd[2] < 0.025  # of 5 % hidden at most half is in doubt
    assert sd[0] == 0.0
    assert sd[4] < 1e-6


def test_a_part_without_anything_seen_is_all_doubt():
    nothing = np.zeros(SHAPE, bool)
    share, sd = wet_share(np.full(SHAPE, np.inf), SD, nothing, INSIDE, AT)
    assert np.isfinite(share).all()
    assert np.isfinite(sd).all()
