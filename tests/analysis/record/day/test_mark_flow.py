"""What is said beside a mark, on arrival maps whose answer is known."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.record.day.day_records import Mark
from analysis.record.day.mark_flow import NOT_MEASURED, flow_at
from tests.made_up.curves import make_curve, make_front, make_tracked
from vision.records import ArrivalMap, DrySpot

MM, LENGTH, WIDTH = 2.0, 400, 200
D_MM2_S = 40.0  # x^2 = 2 D t: t = x^2 / (2 D), speed D / x (Darcy, constant drive)


def tracked(change=None, **front):
    x = (np.arange(LENGTH / MM) + 0.5) * MM
    time_s = np.tile(x**2 / (2 * D_MM2_S), (int(WIDTH / MM), 1))
    seen, by_hand = np.ones(time_s.shape, bool), np.zeros(time_s.shape, bool)
    if change is not None:
        change(time_s, seen, by_hand)
    last_s = float(time_s[np.isfinite(time_s)].max())
    times = np.linspace(20.0, last_s, 30)
    curve = make_curve(times, np.sqrt(2 * D_MM2_S * times), 0.3)
    run = make_tracked(curve, make_front(**front))
    return replace(run, arrival=ArrivalMap(time_s, seen, by_hand, MM, last_s))


def test_time_and_speed_are_those_of_the_law():
    found = flow_at(Mark("pit", 200.0, 100.0), tracked())
    assert found.time_s == pytest.approx(200**2 / 80, rel=0.02)
    assert found.speed_mm_min == pytest.approx(60 * D_MM2_S / 200, rel=0.01)
    assert found.usual_mm_min == pytest.approx(found.speed_mm_min, rel=0.01)
    assert found.words == (
        "wetted at 8.3 min (a photo every 1.1 min); the front moved 12 mm/min, as is usual at that "
        "distance"
    )


def test_speed_is_taken_across_a_slanting_front():
    # Arrival a x + b y: the front moves at 1 / hypot(a, b), whatever its slant.
    def slant(time_s, seen, by_hand):
        rows, cols = np.indices(time_s.shape)
        time_s[:] = 3.0 * cols * MM + 4.0 * rows * MM

    found = flow_at(Mark("pit", 200.0, 100.0), tracked(slant))
    assert found.speed_mm_min == pytest.approx(60 / 5.0, rel=1e-6)


def test_a_dry_spot_is_named_and_never_gets_a_time():
    def dry(time_s, seen, by_hand):
        time_s[45:55, 95:105] = np.inf

    run = tracked(dry, dry_spots=(DrySpot(200.0, 100.0, 400.0),))
    found = flow_at(Mark("dry area", 200.0, 100.0), run)
    assert found.time_s is None
    assert found.words.startswith("a dry spot: the front went round it")
    beside = flow_at(Mark("pit", 200.0, 115.0), run)
    assert beside.words.endswith("beside a dry spot of 4.0 cm²")


def test_what_was_hidden_is_not_known():
    def hide(time_s, seen, by_hand):
        seen[40:60, 90:110] = False

    found = flow_at(Mark("pit", 200.0, 100.0), tracked(hide))
    assert found.time_s is None
    assert found.speed_mm_min is None
    assert "hidden from the camera: when it wetted is not known" in found.words


def test_ahead_of_the_last_front_is_not_called_a_dry_spot():
    def short(time_s, seen, by_hand):
        time_s[:, 150:] = np.inf

    found = flow_at(Mark("pit", 380.0, 100.0), tracked(short))
    assert found.time_s is None
    assert "still dry at 19 min, the last photo" in found.words
    assert "dry spot" not in found.words


def test_a_race_track_lane_is_named_with_its_lead():
    def race(time_s, seen, by_hand):
        time_s[:10] *= 0.5

    run = tracked(race, clean_lanes_mm=((20.0, 200.0),))
    found = flow_at(Mark("pit", 200.0, 8.0), run)
    assert "2.0 times the usual speed" in found.words
    assert "58 mm ahead of the middle of the front" in found.words  # 200 (1 - sqrt(1/2)) = 58.6
    assert "in a lane along the edge that raced ahead (y below 20 mm)" in found.words
    middle = flow_at(Mark("pit", 200.0, 100.0), run)
    assert "raced" not in middle.words


def test_points_set_by_hand_are_said():
    def hand(time_s, seen, by_hand):
        by_hand[:] = True

    assert "by points set by hand" in flow_at(Mark("pit", 200.0, 100.0), tracked(hand)).words


def test_without_a_front_nothing_is_told():
    run = tracked(usable=False)
    assert flow_at(Mark("pit", 200.0, 100.0), run).words == NOT_MEASURED


def test_pen_marks_tell_when_the_front_passed_and_no_more():
    # x^2 = 2 D t: 200 mm at 500 s, which lies between two of the thirty marks.
    run = replace(tracked(), arrival=None)
    found = flow_at(Mark("pit", 200.0, 100.0), run)
    assert found.time_s is None
    low, high = (float(word) * 60 for word in found.words.split() if word[:1].isdigit())
    assert low - 3 <= 500 <= high + 3
    assert "how even it was here is not known" in found.words
    assert "end before it" in flow_at(Mark("pit", 399.9, 1.0), run).words


def test_a_lead_that_no_two_photos_show_is_not_told():
    # The front moves 12 mm/min at 200 mm, and a photo comes every 1.1 min: 14 mm between two.
    def ahead(time_s, seen, by_hand):
        time_s[45:56] *= 0.9  # 10 mm ahead of the rest at 200 mm

    assert "ahead" not in flow_at(Mark("pit", 200.0, 100.0), tracked(ahead)).words

    def far_ahead(time_s, seen, by_hand):
        time_s[45:56] *= 0.7  # 33 mm ahead

    told = flow_at(Mark("pit", 200.0, 100.0), tracked(far_ahead)).words
    assert "mm ahead of the middle of the front" in told
