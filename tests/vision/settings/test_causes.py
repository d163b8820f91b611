import numpy as np
import pytest
from scipy.stats import norm

from vision.settings.causes import CanvasScale, Causes
from vision.settings.tracker_settings import TrackerSettings


@pytest.mark.parametrize("mm_per_px", [0.5, 1.0, 1.75])
@pytest.mark.parametrize("mm", [9.0, 21.0, 36.0])
def test_a_window_spans_the_same_length_on_every_canvas(mm_per_px, mm):
    odd = CanvasScale(mm_per_px).odd_px(mm)
    assert odd % 2 == 1
    assert abs(odd * mm_per_px - mm) <= mm_per_px
    assert CanvasScale(mm_per_px).window(mm).shape == (odd, odd)


def test_a_coarser_canvas_has_fewer_pixels_in_the_same_length():
    assert CanvasScale(0.5, 5.0).coarser(2) == CanvasScale(1.0, 5.0)


def test_a_span_takes_in_more_frames_where_they_come_oftener():
    assert [CanvasScale(1.0, step).frames(60.0) for step in (5.0, 22.0, 60.0, 600.0)] == [
        12,
        3,
        1,
        1,
    ]


def test_every_section_is_bound_to_the_canvas_and_to_the_causes():
    bound = TrackerSettings(causes=Causes(pen_mm=6.0)).on_canvas(0.5, 5.0)
    for section in (bound.light, bound.wetting, bound.repair):
        assert section.scale == CanvasScale(0.5, 5.0)
        assert section.causes.pen_mm == 6.0
    assert bound.wetting.ink_rim_mm == 8.0
    assert bound.repair.longest_gap_frames == 24


def test_a_shadow_lasts_longer_than_what_passes_but_not_for_much_of_the_run():
    film = TrackerSettings().on_canvas(1.0, 4.0).light
    photos = TrackerSettings().on_canvas(1.0, 45.0).light
    assert [film.lasts_frames(n) for n in (30, 100, 158, 2000)] == [7, 9, 15, 31]
    assert photos.lasts_frames(158) == 7


def test_no_look_says_more_than_the_rate_of_outliers_lets_it():
    assert np.isclose(1 / (1 + np.exp(Causes(outliers=0.05).clip)), 0.05)


def test_chance_alone_does_not_reach_the_contrast_that_is_asked_for():
    # Reference: SciPy's normal tail; and a draw of that many looks at dry fabric.
    looks = 200_000
    least = Causes(false_alarms=1.0).least_contrast(looks)
    assert np.isclose(looks * norm.sf(least / 2), 1.0)
    dry = np.random.default_rng(1).normal(size=(20, looks))
    assert 0.4 < np.mean(np.count_nonzero(dry > least / 2, axis=1)) < 1.8


def test_chance_alone_seldom_raises_the_alarm():
    # Page's sum over looks at dry fabric whose step to wet is three standard deviations.
    rng, count, places = np.random.default_rng(2), 40, 5000
    alarm, clip = Causes().alarm(count * places), Causes().clip
    lately, raised = np.zeros(places), np.zeros(places, bool)
    for _ in range(count):
        ratio = np.clip(3.0 * (rng.normal(size=places) - 1.5), -clip, clip)
        lately = np.maximum(lately + ratio, 0.0)
        raised |= lately > alarm
    assert np.count_nonzero(raised) <= 1
