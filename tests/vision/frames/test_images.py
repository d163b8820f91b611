import numpy as np
import pytest

from vision.errors import WetlineError
from vision.frames.images import ImageFrames

GREY = [np.full((6, 9), k, np.uint8) for k in range(5)]
TIMES = [0.0, 1.5, 2.0, 8.0, 9.0]


def test_grey_pictures_come_in_three_channels_with_their_own_times():
    frames = ImageFrames(GREY, TIMES)
    assert frames.size == (9, 6)
    assert len(frames) == 5
    shown = list(frames)
    assert [f.clock_s for f in shown] == TIMES
    assert [f.index for f in shown] == [0, 1, 2, 3, 4]
    assert shown[3].image.shape == (6, 9, 3)
    assert np.all(shown[3].image == 3)
    assert not frames.has_clock
    assert frames.read(-1).name == "image 5"


def test_colour_pictures_pass_as_they_are():
    colour = [np.dstack([image, image + 1, image + 2]) for image in GREY]
    assert ImageFrames(colour, TIMES).read(2).image is colour[2]


@pytest.mark.parametrize(
    ("images", "times", "told"),
    [
        (GREY[:3], TIMES[:3], "3 pictures: at least 4"),
        (GREY, TIMES[:4], r"times_s shape = \(4,\): must be \(5,\)"),
        (GREY, [0, 1, 2, np.nan, 4], r"times_s\[3\] = nan: must be a finite number"),
        (GREY, [0, 1, 2, 2, 4], r"times_s\[3\] = 2: must be later than the one before, 2"),
        (GREY, ["a"] * 5, "times_s = .*: must be numbers"),
        ([*GREY[:4], GREY[4] / 255.0], TIMES, "image 5 dtype = float64: must be uint8"),
        ([*GREY[:4], GREY[4][:, :8]], TIMES, r"image 5 shape = \(6, 8\): must be \(6, 9\)"),
        ([np.zeros((6, 9, 4), np.uint8)] * 5, TIMES, r"image 1 shape = \(6, 9, 4\): must be"),
        (["a.jpg"] * 5, TIMES, "image 1 = str: must be an array"),
    ],
)
def test_what_does_not_fit_is_refused_in_one_line(images, times, told):
    with pytest.raises(WetlineError, match=told) as error:
        ImageFrames(images, times)
    assert "\n" not in str(error.value)
