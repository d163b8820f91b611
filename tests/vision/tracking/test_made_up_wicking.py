"""Films of a liquid wicking up a sheet: small, coded pictures with hardly any table beside it.

The truth is the front each film is drawn from. Limits are in pixels of the film, whose pictures
show the sheet at about 0.4 mm to a pixel.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.made_up.wicking import Somebody, Wicking, WickingFrames, setup_of
from vision.rectify.rectifier import Rectifier
from vision.tracking.tracker import Tracker

TIMES_S = np.linspace(-30, 600, 43)
PLAIN = Wicking(times_s=TIMES_S)
CLIMBS = replace(PLAIN, rises=70.0)
TWICE = replace(PLAIN, faint=0.9)


def track(film, somebody=None, **frames_settings):
    frames = WickingFrames(film, somebody)
    setup = setup_of(film, **frames_settings)
    tracker = Tracker(setup, Rectifier(setup, frames))
    for frame in frames:
        tracker.add(frame)
    return tracker.finish().tracked


def error_px(film, tracked, share=1.0):
    """Error of the mean front in pixels of the film, at the frames that are used."""
    used = tracked.curve.used
    true_mm = np.array([film.fronts_mm(t, share).mean() for t in film.times_s])
    px_per_mm = (film.sheet_px[3] - film.sheet_px[1]) / film.length_mm
    return (tracked.curve.front_mean_mm - true_mm)[used] * px_per_mm


def told(tracked):
    return tracked.front.warnings


FILMS = {
    "plain": PLAIN,
    "liquid climbs beside it, table in view": CLIMBS,
    "liquid climbs beside it, sheet fills the picture": replace(CLIMBS, sheet_px=(3, 3, 317, 237)),
    "noise and a coarse coder": replace(PLAIN, noise=6.0, quality=35),
    "178 x 179": replace(PLAIN, size=(178, 179), sheet_px=(12, 8, 166, 172)),
    "a strip 40 px wide": replace(
        PLAIN,
        size=(640, 480),
        sheet_px=(290, 14, 330, 470),
        length_mm=120.0,
        width_mm=10.5,
        reach_mm=110.0,
    ),
    "darkens little": replace(PLAIN, wet=0.9),
    "cut short": replace(PLAIN, times_s=TIMES_S[:18]),
    "under way when it begins": replace(PLAIN, times_s=TIMES_S[4:30]),
}


@pytest.mark.parametrize("name", FILMS)
def test_the_front_is_where_the_liquid_was(name):
    film = FILMS[name]
    tracked = track(film)
    assert tracked.front.usable, tracked.front.reason
    assert tracked.front.doubts == ()
    off = error_px(film, tracked)
    # All but before the start, the first frame, the last two and some at the end of the sheet.
    assert len(off) > 0.6 * np.count_nonzero(np.asarray(film.times_s) > 0)
    assert np.sqrt(np.mean(off**2)) < 0.5
    assert np.abs(off).max() < 1.5


def test_of_two_steps_the_first_is_followed_and_both_are_told():
    tracked = track(TWICE)
    assert np.sqrt(np.mean(error_px(TWICE, tracked) ** 2)) < 0.8
    assert any("two changes" in text and "first is followed" in text for text in told(tracked))


def test_of_two_steps_the_second_is_followed_when_asked_for():
    tracked = track(TWICE, follow="second")
    assert np.sqrt(np.mean(error_px(TWICE, tracked, TWICE.second) ** 2)) < 0.8
    assert any("two changes" in text and "second is followed" in text for text in told(tracked))


def test_one_step_is_not_taken_for_two():
    for film in (PLAIN, replace(PLAIN, wet=0.9)):
        assert not any("two changes" in text for text in track(film).front.warnings)


HALF = range(12, 33)
AT_TABLE = replace(PLAIN, size=(460, 240), sheet_px=(180, 14, 380, 226))


@pytest.mark.parametrize(
    ("film", "somebody"),
    [
        (AT_TABLE, Somebody(HALF, 140)),
        (AT_TABLE, Somebody(HALF, 140, clothes=(170, 170, 180))),
        (AT_TABLE, Somebody(HALF, 230, sways_px=30, clothes=(150, 152, 155))),
        (AT_TABLE, Somebody(HALF, 200, sways_px=1, half_px=60, clothes=(110, 105, 100))),
        (PLAIN, Somebody(HALF, 15, sways_px=10, half_px=30)),
        (PLAIN, Somebody(HALF, 60, half_px=40)),
    ],
    ids=[
        "reaching over it",
        "reaching over it in pale clothes",
        "before its middle in clothes like paper",
        "before its middle and still",
        "beside it, hardly any table",
        "before it, hardly any table",
    ],
)
def test_somebody_before_the_sheet_for_half_the_film_is_no_front(film, somebody):
    tracked = track(film, somebody)
    if not tracked.front.usable or tracked.front.doubts:
        return  # said to be unreadable: no number is believed
    off, sd_mm = error_px(film, tracked), tracked.curve.front_sd_mm[tracked.curve.used]
    px_per_mm = (film.sheet_px[3] - film.sheet_px[1]) / film.length_mm
    assert (np.abs(off) < np.maximum(2.0, 3 * px_per_mm * sd_mm)).all()
    assert len(off) == 0 or np.sqrt(np.mean(off**2)) < 1.0


def test_somebody_beside_the_sheet_for_half_the_film_does_not_keep_it_from_being_read():
    tracked = track(AT_TABLE, Somebody(HALF, 70))
    assert tracked.front.usable
    assert tracked.front.doubts == ()
    assert np.sqrt(np.mean(error_px(AT_TABLE, tracked) ** 2)) < 0.5
