"""The window in which a part's points are tapped: the photo, and the plan that leads beside it."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.drawing.labels import Box
from vision.drawing.strokes import Image, padded, write
from vision.part_records import PartShape
from vision.parts.tapping.asked_points import FEWEST, AskedPoint
from vision.parts.tapping.plan_sketch import plan_sketch
from vision.scale.corner_picker import Picker, Pixel, run_window

SKETCH_SHARE = 0.42
"""Width of the plan beside the photo, as a share of the photo's."""

AGAIN_TITLE, TITLE = "Wetline: does the plan lie on the part?", "Wetline: tap the part's corners"


def prompts_of(asked: Sequence[AskedPoint]) -> list[str]:
    """Return how each point is asked for.

    Examples
    --------
    >>> prompts_of([AskedPoint((600.0, 0.0), "upper right")])
    ['corner 1 of 1: upper right, at 600, 0 mm']
    """
    return [
        f"corner {number} of {len(asked)}: {point.words}, at {point.mm[0]:g}, {point.mm[1]:g} mm"
        for number, point in enumerate(asked, start=1)
    ]


class TapPicker(Picker):
    """The taps so far; a point that does not show is passed over.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The photo.
    shape : PartShape
    asked : sequence of AskedPoint
    """

    def __init__(self, image: Image, shape: PartShape, asked: Sequence[AskedPoint]) -> None:
        super().__init__(image, prompts_of(asked))
        self._shape, self._asked = shape, asked
        self.passed: set[int] = set()

    def mouse(self, event: int, x: int, y: int, flags: int = 0, _: object = None) -> None:
        """Take a mouse event on the photo; beside it nothing is set."""
        if event == cv2.EVENT_LBUTTONDOWN and x >= self.image.shape[1]:
            return
        super().mouse(event, min(x, self.image.shape[1] - 1), y, flags)
        self.passed = {number for number in self.passed if number < len(self.points)}

    def press(self, key: int) -> None:
        """Take a key: n passes the point over."""
        if key in (ord("n"), ord("N")) and not self.done:
            self.passed.add(len(self.points))
            self.points.append((np.nan, np.nan))

    @property
    def taps(self) -> list[Pixel | None]:
        """The points so far, None where one was passed over."""
        return [None if k in self.passed else point for k, point in enumerate(self.points)]

    def may_stop(self) -> bool:
        """Whether enough points are tapped."""
        return len(self.points) - len(self.passed) >= FEWEST

    def picture(self) -> Image:
        """Draw the photo with the taps, the loupe, and the plan with the next point beside it."""
        shown, now = super().picture(), len(self.points)
        height, width = shown.shape[:2]
        size = (max(160, round(SKETCH_SHARE * width)), height)
        done = [k for k in range(now) if k not in self.passed]
        sketch = plan_sketch(self._shape, self._asked, size, None if self.done else now, done)
        words = ["the plan, from above", "n: does not show here"]
        if self.may_stop():
            words.append("Enter: enough, more is surer")
        for row, text in enumerate(words):
            letters = max(10, size[0] // 26)
            wide, tall = padded(text, letters)
            place = Box(wide / 2 + 4, height - (len(words) - row) * 1.5 * letters, wide, tall)
            write(sketch, text, place, letters)
        return np.hstack([shown, sketch])


def tap(image: Image, shape: PartShape, asked: Sequence[AskedPoint]) -> list[Pixel | None] | None:
    """Let the user tap the points in a window; None if they leave it.

    Raises
    ------
    WetlineError
        If no window can be opened.
    """
    picker = TapPicker(image, shape, asked)
    return None if run_window(picker, TITLE) is None else picker.taps


class _Confirm(Picker):
    """Shows a picture until Enter or Esc."""

    def may_stop(self) -> bool:
        """Whether Enter ends it: always."""
        return True

    def mouse(self, event: int, x: int, y: int, flags: int = 0, _: object = None) -> None:
        """Follow the pointer, for the loupe."""
        self.pointer = (x, y)


def confirm(drawn: Image) -> bool:
    """Show the plan drawn back on the photo; True if the user takes it by Enter.

    Raises
    ------
    WetlineError
        If no window can be opened.
    """
    prompts = ["Enter: yes, write it    Esc: no"]
    return run_window(_Confirm(drawn, prompts), AGAIN_TITLE) is not None
