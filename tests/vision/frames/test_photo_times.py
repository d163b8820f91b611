from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from vision.errors import WetlineError
from vision.frames.exif import PhotoHeader
from vision.frames.photo_times import Photo, in_time_order

HERE = Path("panel/frames")
EVEN = [0.0, 30.0, 60.0, 90.0]


def photos(times, changed=()):
    """Photos named in order, with these capture times (None: none)."""
    return [
        Photo(
            HERE / f"IMG_{k}.jpg",
            PhotoHeader((96, 64), wall_s=time, modified_only=k in changed),
        )
        for k, time in enumerate(times)
    ]


def names(found):
    return [photo.path.stem for photo in found.photos]


def test_photos_in_the_order_of_their_names_need_no_word():
    found = in_time_order(photos(EVEN), None, HERE)
    assert found.has_clock
    assert found.warnings == ()
    assert found.notes == ()


def test_photos_renamed_by_the_order_of_sync_go_by_their_own_time():
    found = in_time_order(photos([60.0, 0.0, 90.0, 30.0]), None, HERE)
    assert names(found) == ["IMG_1", "IMG_3", "IMG_0", "IMG_2"]
    assert (
        "by their own times, not by their names: the two differ for 4 of 4 photos"
        in found.warnings[0]
    )


def test_without_times_the_order_of_names_is_said():
    found = in_time_order(photos([None] * 5), 30.0, HERE)
    assert not found.has_clock
    assert [photo.clock_s for photo in found.photos] == [0, 30, 60, 90, 120]
    assert "taken in the order of their names, 30 s apart (2.0 min in all)" in found.warnings[0]


def test_the_few_times_there_are_must_not_contradict_the_names():
    few = [None, 30.0, None, None, 120.0, None, None]
    found = in_time_order(photos(few), 30.0, HERE)
    assert "only 2 of 7 photos carry a capture time" in found.warnings[0]
    shuffled = [None, 120.0, None, None, 30.0, None, None]
    with pytest.raises(WetlineError, match=r"IMG_4.jpg was taken before IMG_1.jpg"):
        in_time_order(photos(shuffled), 30.0, HERE)


def test_an_interval_that_the_photos_contradict_is_said():
    (told,) = in_time_order(photos(EVEN), 60.0, HERE).warnings
    assert "interval_s = 60 is not used: by their own times the photos are 30 s" in told
    assert in_time_order(photos(EVEN), 31.0, HERE).warnings == ()


def test_photos_of_two_runs_are_noticed():
    day_before = [time - 86_400.0 for time in EVEN]
    (told,) = in_time_order(photos([*day_before, *EVEN]), None, HERE).warnings
    assert "24.0 hours lie between IMG_3.jpg and IMG_4.jpg" in told
    assert in_time_order(photos([0.0, 30.0, 60.0, 1800.0]), None, HERE).warnings == ()


def test_times_of_the_last_change_are_said():
    found = in_time_order(photos(EVEN, changed=range(4)), None, HERE)
    assert "time of their last change" in found.warnings[0]


def test_no_times_and_no_interval_are_refused():
    with pytest.raises(WetlineError, match="carry no capture time: write interval_s"):
        in_time_order(photos([None] * 4), None, HERE)
    with pytest.raises(WetlineError, match="all carry the same capture time"):
        in_time_order(photos([5.0] * 4), None, HERE)


@pytest.mark.parametrize(("jump_s", "asked"), [(3600.0, True), (5000.0, False), (86_400.0, False)])
def test_a_gap_of_whole_hours_may_be_a_clock_that_was_set(jump_s, asked):
    times = [*EVEN, *(EVEN[-1] + (EVEN[1] - EVEN[0]) + jump_s + time - EVEN[0] for time in EVEN)]
    told = " ".join(in_time_order(photos(times), None, HERE).warnings)
    assert "hours lie between" in told
    assert ("clock was set" in told) == asked


def wall(hour, minute, second=0.0, day=27):
    return datetime(2030, 10, day, hour, minute, tzinfo=UTC).timestamp() + second


def test_a_clock_set_back_in_mid_run_is_counted_on():
    """Summer time ends at 3 in the morning, which is then 2 again (EU directive 2000/84/EC)."""
    before = [wall(2, 56) + 60.0 * k for k in range(4)]
    after = [wall(2, 0) + 60.0 * k for k in range(6)]
    found = in_time_order(photos([*before, *after]), None, HERE)
    assert names(found) == [f"IMG_{k}" for k in range(10)]
    assert [b.clock_s - a.clock_s for a, b in pairwise(found.photos)] == [60.0] * 9
    assert "goes back by 1 h between IMG_3.jpg and IMG_4.jpg" in found.warnings[0]
    assert len(found.warnings) == 1


def test_stated_offsets_need_no_guess_about_the_clock():
    times = [wall(2, 58), wall(2, 59), wall(2, 0), wall(2, 1), wall(2, 2), wall(2, 3)]
    shots = [
        replace(one, header=replace(one.header, offset_s=7200.0 if k < 2 else 3600.0))
        for k, one in enumerate(photos(times))
    ]
    found = in_time_order(shots, None, HERE)
    assert found.warnings == ()
    assert [b.clock_s - a.clock_s for a, b in pairwise(found.photos)] == [60.0] * 5


@pytest.mark.parametrize("back_s", [900.0, 5400.0, 100_000.0])
def test_a_step_back_of_another_size_is_no_clock_that_was_set(back_s):
    times = [60.0 * k for k in range(5)]
    found = in_time_order(photos([*(t + back_s for t in times), *times]), None, HERE)
    assert "by their own times, not by their names" in " ".join(found.warnings)
    assert "goes back" not in " ".join(found.warnings)


def test_a_run_over_midnight_and_new_year_is_one_run():
    start = datetime(2030, 12, 31, 23, 58, tzinfo=UTC).timestamp()
    found = in_time_order(photos([start + 30.0 * k for k in range(10)]), None, HERE)
    assert found.warnings == ()
    assert found.photos[-1].clock_s - found.photos[0].clock_s == 270.0
