"""A camera that stands while everything around the panel changes, and one that does not."""

import cv2
import numpy as np
import pytest

from tests.made_up.wicking import Wicking, WickingFrames, setup_of
from vision.errors import WetlineError
from vision.rectify.rectifier import Rectifier
from vision.rectify.standing import compare, detail

TIMES_S = np.linspace(-30, 600, 22)


def sight(shift_px=(0.0, 0.0), turn_deg=0.0, noise=3.0, seed=1, gain=1.0):
    """A picture of a scratched bench from a camera shifted and turned."""
    rng = np.random.default_rng(7)
    grain = rng.normal(0, 1, (72, 96)).astype(np.float32)
    bench = 120 + 25 * cv2.resize(grain, (640, 480), interpolation=cv2.INTER_CUBIC)
    move = cv2.getRotationMatrix2D((320, 240), turn_deg, 1.0)
    move[:, 2] += shift_px
    moved = cv2.warpAffine(bench, move, (640, 480), borderMode=cv2.BORDER_REFLECT)
    noisy = gain * moved + np.random.default_rng(seed).normal(0, noise, moved.shape)
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def test_a_camera_that_stood_is_told_under_another_light_and_noise():
    assert compare(detail(sight()), detail(sight(seed=2, gain=0.8, noise=8.0))).stands


@pytest.mark.parametrize(
    ("shift_px", "turn_deg"), [((4.0, 0.0), 0.0), ((0.0, -9.0), 0.0), ((0.0, 0.0), 2.0)]
)
def test_a_camera_that_was_knocked_does_not_stand(shift_px, turn_deg):
    assert not compare(detail(sight()), detail(sight(shift_px, turn_deg, seed=2))).stands


def test_a_covered_lens_shows_nothing():
    covered = np.full((480, 640, 3), 40, np.uint8)
    votes = compare(detail(sight()), detail(covered))
    assert not votes.stands
    assert (votes.still, votes.moved) == (0, 0)


def rectified(film, **frames_settings):
    frames = WickingFrames(film)
    rectifier = Rectifier(setup_of(film, **frames_settings), frames)
    return [rectifier.rectify(frame) for frame in frames]


# The liquid climbs the wall beside the sheet, and nothing else lies around it.
RISING = Wicking(times_s=TIMES_S, sheet_px=(16, 10, 304, 230), rises=70.0)


def test_what_rises_beside_the_panel_is_no_move():
    flats = rectified(RISING)
    assert not any(flat.lost or flat.moved for flat in flats)
    assert any(flat.taken_still for flat in flats)
    assert all(flat.note for flat in flats if flat.taken_still)


def test_a_camera_said_to_be_fixed_is_not_followed():
    flats = rectified(RISING, camera="fixed")
    assert not any(flat.lost or flat.moved or flat.taken_still or flat.note for flat in flats)


def test_a_camera_said_to_be_fixed_that_was_knocked_is_told():
    film = Wicking(times_s=TIMES_S)
    frames = WickingFrames(film)
    rectifier = Rectifier(setup_of(film, camera="fixed"), frames)
    rectifier.rectify(frames.read(0))
    frame = frames.read(1)
    move = np.array([[1.0, 0, 2.5], [0, 1.0, 0]])
    knocked = cv2.warpAffine(frame.image, move, film.size, borderMode=cv2.BORDER_REPLICATE)
    flat = rectifier.rectify(type(frame)(1, frame.name, frame.clock_s, knocked))
    assert not flat.moved
    assert "said to be fixed, but seems" in flat.note


def test_a_panel_too_small_in_the_picture_is_refused():
    film = Wicking(times_s=TIMES_S[:5], size=(60, 40), sheet_px=(10, 4, 50, 36))
    with pytest.raises(WetlineError, match="only 32 x 40 px in a picture of 60 x 40: at least 40"):
        Rectifier(setup_of(film), WickingFrames(film))


def test_small_pictures_are_laid_flat():
    film = Wicking(times_s=TIMES_S, size=(178, 179), sheet_px=(12, 8, 166, 172))
    assert not any(flat.lost for flat in rectified(film))
