"""A part from its photos to when each spot wetted, against the truth that drew them."""

from functools import cache

import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.plan.part_toml import read_part
from tests.made_up.parts.made_part import made_part
from vision.parts.track_part import track_part_folder


def true_at(seen, truth):
    """Truth at the pixels seen, between its own points; NaN outside."""
    x, y, time_s = truth["x_mm"], truth["y_mm"], truth["time_s"]
    col = np.interp(seen.x_mm, x, np.arange(len(x)))
    order = np.argsort(y)
    row = np.interp(seen.y_mm, y[order], order)
    c0 = np.minimum(col.astype(int), len(x) - 2)
    r0 = np.minimum(row.astype(int), len(y) - 2)
    u, v = (col - c0)[None, :], (row - r0)[:, None]
    at = lambda dr, dc: time_s[(r0 + dr)[:, None], (c0 + dc)[None, :]]  # noqa: E731
    return (1 - v) * ((1 - u) * at(0, 0) + u * at(0, 1)) + v * ((1 - u) * at(1, 0) + u * at(1, 1))


@cache
def tracked(case):
    folder = made_part(case)
    seen = track_part_folder(part_camera(read_part(folder))).seen
    with np.load(folder / "truth.npz") as truth:
        return seen, true_at(seen, dict(truth))


@pytest.mark.parametrize("case", ["hole", "later_shadow", "raised"])
def test_arrival_within_two_per_cent_of_fill_time_in_95_per_cent_of_the_places_seen(case):
    seen, true = tracked(case)
    assert seen.usable
    place = seen.inside & seen.seen & np.isfinite(true) & (true < seen.last_s)
    assert place.sum() > 0.75 * seen.inside.sum()
    off = np.abs(seen.time_s - true)[place]
    assert np.mean(off < 0.02 * np.nanmax(true)) > 0.95


@pytest.mark.parametrize("case", ["hole", "later_shadow", "raised"])
def test_stated_uncertainty_is_borne_out(case):
    seen, true = tracked(case)
    place = seen.inside & seen.seen & np.isfinite(true) & np.isfinite(seen.time_s)
    spread = np.quantile(np.abs((seen.time_s - true) / seen.sd_s)[place], 0.683)
    assert 0.4 < spread < 1.3


def test_cloth_under_the_hose_of_a_vent_is_not_seen_to_stay_dry():
    seen, true = tracked("hole")
    wet = seen.inside & np.isfinite(true) & (true < seen.last_s)
    assert np.count_nonzero(seen.seen & wet & np.isinf(seen.time_s)) < 0.002 * wet.sum()


def test_planned_feeds_are_seen_to_wet_in_turn():
    seen, _ = tracked("later_shadow")
    times = [at for _, at in seen.feeds_seen]
    assert len(times) == 2
    assert times[0] < 0.05 * seen.last_s < times[1] < seen.last_s


def test_record_is_whole():
    seen, _ = tracked("hole")
    count = len(seen.frames)
    assert seen.homographies.shape == (count, 3, 3)
    assert len(seen.notes) == len(seen.used) == len(seen.wetted_share) == count
    assert np.isnan(seen.time_s[~seen.inside]).all()
    assert (np.diff(seen.wetted_share) >= 0).all()
    assert seen.wetted_share[-1] > 0.95
    assert seen.used.mean() > 0.7
