"""Two changes, one behind the other: both are told, and the named one is followed."""

from dataclasses import replace

import numpy as np
import pytest

import wetline
from tests.made_up.sheet import sheet_images
from vision.check.doubts import step_doubts
from vision.wetting.earlier_step import TwoSteps, best_split_before, hold_from

SIZE_MM = (200.0, 100.0)
TIMES_S = np.arange(-20.0, 420.0, 10.0)
FIRST_MM = np.sqrt(90.0 * TIMES_S.clip(0))
SECOND_MM = np.sqrt(40.0 * TIMES_S.clip(0))


def track(steps, shadow_mm=None, **options):
    images, corners_px = sheet_images(TIMES_S, steps, SIZE_MM, shadow_mm)
    return wetline.track_images(images, TIMES_S, corners_px, *SIZE_MM, **options)


def off_mm(run, front_mm):
    inside = run.curve.used & (front_mm > 10) & (front_mm < 190)
    assert np.count_nonzero(inside) > 8
    return float(np.abs(run.curve.front_mean_mm - front_mm)[inside].max())


def said(run):
    return " ".join(run.front.warnings)


@pytest.mark.parametrize("faint", [0.06, 0.15])
def test_the_first_of_two_is_followed_and_both_are_told(faint):
    run = track([(FIRST_MM, faint), (SECOND_MM, 0.35)])
    assert off_mm(run, FIRST_MM) < 2.0
    assert "two changes passed over the panel" in said(run)
    assert (
        'the first is followed; if the second is the resin, write [frames] follow = "second"'
        in (said(run))
    )


def test_the_second_is_followed_where_the_user_names_it():
    run = track([(FIRST_MM, 0.1), (SECOND_MM, 0.35)], follow="second")
    assert off_mm(run, SECOND_MM) < 2.0
    assert "the second is followed" in said(run)
    assert not run.front.doubts


@pytest.mark.parametrize(
    ("follow", "other", "other_mm", "rms_mm"),
    [("first", "second", SECOND_MM, 1.0), ("second", "first", FIRST_MM, 1.5)],
)
def test_the_change_that_is_not_followed_has_its_own_curve(follow, other, other_mm, rms_mm):
    second = track([(FIRST_MM, 0.1), (SECOND_MM, 0.35)], follow=follow).second
    assert second.which == other
    inside = np.isfinite(second.front_mm) & (other_mm > 10) & (other_mm < 195)
    assert np.count_nonzero(inside) > 20
    off = (second.front_mm - other_mm)[inside]
    assert np.sqrt(np.mean(off**2)) < rms_mm
    assert 0.4 < np.sqrt(np.mean((off / second.sd_mm[inside]) ** 2)) < 1.3
    assert np.abs(off / second.sd_mm[inside]).max() < 3.0
    # Where the cells do not show it themselves, nothing is told.
    assert np.nanmax(second.front_mm[TIMES_S <= 0], initial=0.0) == 0.0


def test_one_change_is_not_called_two():
    run = track([(FIRST_MM, 0.3)])
    assert "two changes" not in said(run)
    assert run.second is None


def test_a_shadow_that_passes_is_no_first_change():
    times = TIMES_S - TIMES_S[0]
    shadow_mm = times / times[-1] * 300.0
    run = track([(SECOND_MM, 0.35)], shadow_mm=shadow_mm)
    assert "two changes" not in said(run)


def test_what_brightens_the_fabric_ahead_of_the_front_is_no_first_change():
    # Wet fabric scatters less light: Lekner and Dorf, Appl. Opt. 27, 1278, 1988 (from memory).
    run = track([(FIRST_MM, -0.15), (SECOND_MM, 0.35)])
    assert "two changes" not in said(run)
    assert run.second is None


def test_a_first_change_too_faint_to_follow_leaves_the_run_in_doubt_until_it_is_named():
    steps = TwoSteps(earlier=None, is_first_followed=False, is_clear=False)
    assert 'follow = "second"' in step_doubts(steps, "first")[0]
    assert step_doubts(steps, "second") == ()
    assert step_doubts(replace(steps, is_clear=True), "first") == ()
    assert step_doubts(None, "first") == ()


def test_split_looks_only_at_the_frames_before_its_own():
    series = np.zeros((20, 2, 1))
    series[5:, 0] = 1.0
    series[12:] = 50.0
    found = best_split_before(series, np.array([12, 2]), 3)
    assert found.frame[0] == 5
    assert found.step[0, 0] == pytest.approx(1.0)
    assert found.fits.tolist() == [True, False]


def test_levels_are_held_from_each_pixels_own_frame():
    levels = [np.full((1, 3), float(k)) for k in range(4)]
    hold_from(levels, np.array([[0, 2, 4]]), np.full((1, 3), 9.0))
    assert np.array(levels)[:, 0].tolist() == [[9, 0, 0], [9, 1, 1], [9, 9, 2], [9, 9, 3]]
