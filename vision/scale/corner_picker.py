"""Helps to read the panel's corners and tape marks off the first photo."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.common.atomic_files import replace_file
from vision.common.toml_table import read_toml
from vision.errors import WetlineError
from vision.settings.panel_settings import PanelSetup, setup_from
from vision.settings.scale_settings import turns

Pixel = tuple[float, float]

PROMPTS = (
    "corner 1 of 4: feed end, (0, 0)",
    "corner 2 of 4: vent end, (length, 0)",
    "corner 3 of 4: vent end, (length, width)",
    "corner 4 of 4: feed end, (0, width)",
    "tape mark 1 of 2, or Enter if there is no tape",
    "tape mark 2 of 2",
)
_LOUPE = 4
_YELLOW, _RED = (0, 255, 255), (0, 0, 255)


def has_display() -> bool:
    """Return whether a window can be opened."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def read_setup_for_corners(folder: Path) -> PanelSetup:
    """Read panel.toml while its ``[scale]`` table is still to be written.

    Raises
    ------
    WetlineError
        If the other tables are wrong.
    """
    file = folder / "panel.toml"
    document: dict[str, Any] = dict(read_toml(file))
    corner = [[0.0, 0.0], [99.0, 0.0], [99.0, 99.0], [0.0, 99.0]]
    document["scale"] = {
        "method": "tape",
        "corners_px": corner,
        "tape_px": corner[:2],
        "tape_mm": 99.0,
    }
    setup = setup_from(document, file, folder, need_clock=False)
    # Only the pictures are looked at, at whatever speed the film plays.
    return replace(setup, frames=replace(setup.frames, speed_up=setup.frames.speed_up or 1.0))


def scale_lines(corners: Sequence[Pixel], tape: Sequence[Pixel], tape_mm: float | None) -> str:
    """Write the ``[scale]`` table for points read off the photo.

    Examples
    --------
    >>> print(scale_lines([(1, 2), (9, 2), (9, 7.5), (1, 7)], [], None))
    [scale]
    method = "corners"
    corners_px = [[1, 2], [9, 2], [9, 7.5], [1, 7]]
    """
    lines = ["[scale]", f'method = "{"tape" if tape else "corners"}"']
    lines.append(f"corners_px = {_listed(corners)}")
    if tape:
        lines.append(f"tape_px = {_listed(tape)}")
        lines.append(f"tape_mm = {tape_mm or 'DISTANCE_BETWEEN_THE_TWO_MARKS'}")
    return "\n".join(lines)


def _listed(points: Sequence[Pixel]) -> str:
    return "[" + ", ".join(f"[{x:g}, {y:g}]" for x, y in points) + "]"


def record_line(folder: Path, photo: Path, corners: Sequence[Pixel]) -> str:
    """Return the command that files a photo with its corners.

    Examples
    --------
    >>> record_line(Path("p"), Path("a.jpg"), [(1.04, 2), (9, 2), (9, 8), (1, 8)])
    'wetline record p a.jpg --corners "1,2 9,2 9,8 1,8" --stage ...'
    """
    listed = " ".join(f"{round(x, 1):g},{round(y, 1):g}" for x, y in corners)
    return f'wetline record {folder} {photo} --corners "{listed}" --stage ...'


def how_to_read(photo: str, picture: Path) -> str:
    """Return how to find the points without a window."""
    return "\n".join(
        [
            "No window can be opened here. Tap the corners in the browser with `wetline page` on",
            "the panel's folder, or read them by hand:",
            f"1  Open {picture}: it shows {photo} with a grid of photo pixels,",
            "   x to the right and y down. (Any picture editor that shows the pixel under the",
            "   pointer will do on the photo itself.)",
            "2  Note [x, y] of the panel's corners, clockwise from the feed corner:",
            "   (0, 0), (length, 0), (length, width), (0, width).",
            "3  Write into panel.toml:",
            "",
            "[scale]",
            'method = "corners"',
            "corners_px = [[x, y], [x, y], [x, y], [x, y]]",
            "",
            "   Size not known? Use a tape measure in the picture instead:",
            "",
            "[scale]",
            'method = "tape"',
            "corners_px = [[x, y], [x, y], [x, y], [x, y]]",
            "tape_px = [[x, y], [x, y]]    # two marks on the tape, far apart",
            "tape_mm = 400                 # the distance between them",
        ]
    )


def write_grid_picture(path: Path, image: NDArray[np.uint8]) -> None:
    """Write the photo with a labelled grid of pixel coordinates.

    Raises
    ------
    WetlineError
        If it cannot be written.
    """
    ok, data = cv2.imencode(".png", draw_grid(image))
    if not ok:
        raise WetlineError(f"{path}: the picture cannot be written")
    replace_file(path, lambda part: part.write_bytes(data.tobytes()))


def draw_grid(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Draw a grid over a photo: labelled lines every 100 pixels, ticks every 20 (or larger)."""
    picture = image.copy()
    height, width = image.shape[:2]
    step = 100 * max(1, round(width / 1600))
    size = 0.4 * step / 100
    for at in range(0, max(width, height), step // 5):
        major = at % step == 0
        for is_x in (True, False):
            limit = width if is_x else height
            if at >= limit:
                continue
            if major:
                ends = ((at, 0), (at, height)) if is_x else ((0, at), (width, at))
                cv2.line(picture, ends[0], ends[1], _YELLOW, 1)
            for cross in range(0, height if is_x else width, step):
                a, b = cross - step // 25, cross + step // 25
                ends = ((at, a), (at, b)) if is_x else ((a, at), (b, at))
                cv2.line(picture, ends[0], ends[1], _YELLOW, 1)
    for y in range(0, height, step):
        for x in range(0, width, step):
            _label(picture, f"{x},{y}", (x + 3, y + int(28 * size)), size)
    return picture


def _label(picture: NDArray[np.uint8], text: str, place: tuple[int, int], size: float) -> None:
    (width, height), below = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, 1)
    low, high = (place[0] - 1, place[1] - height - 1), (place[0] + width, place[1] + below)
    cv2.rectangle(picture, low, high, (0, 0, 0), -1)
    cv2.putText(picture, text, place, cv2.FONT_HERSHEY_SIMPLEX, size, _YELLOW, 1)


class Picker:
    """The clicks so far, and what the window shows of them.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3), uint8
        The photo.
    prompts : sequence of str
        What is asked for, point by point.
    """

    def __init__(self, image: NDArray[np.uint8], prompts: Sequence[str] = PROMPTS) -> None:
        self.image, self.prompts = image, prompts
        self.points: list[Pixel] = []
        self.pointer = (0, 0)

    def mouse(self, event: int, x: int, y: int, flags: int = 0, _: object = None) -> None:
        """Take a mouse event: left button sets a point, right button takes the last back."""
        self.pointer = (x, y)
        if event == cv2.EVENT_LBUTTONDOWN and len(self.points) < len(self.prompts):
            self.points.append((float(x), float(y)))
        elif event == cv2.EVENT_RBUTTONDOWN and self.points:
            self.points.pop()

    @property
    def done(self) -> bool:
        """Whether all points are set."""
        return len(self.points) == len(self.prompts)

    def may_stop(self) -> bool:
        """Whether what is there makes sense: four corners, or those and both tape marks."""
        return len(self.points) in (4, 6)

    def press(self, key: int) -> None:
        """Take a key other than Enter and Esc; none means anything here."""

    def picture(self) -> NDArray[np.uint8]:
        """Draw the photo with points, prompt and a loupe at the pointer."""
        shown = self.image.copy()
        scale = max(1, round(shown.shape[1] / 1280))
        for i, (x, y) in enumerate(self.points):
            if not np.isfinite([x, y]).all():  # passed over
                continue
            cv2.drawMarker(shown, (int(x), int(y)), _RED, cv2.MARKER_CROSS, 24 * scale, scale)
            _label(shown, str(i + 1), (int(x) + 8, int(y) - 8), 0.7 * scale)
        prompt = self.prompts[len(self.points)] if not self.done else "Enter to finish"
        text = f"{prompt}   (right button: take back, Esc: leave)"
        _label(shown, text, (10 * scale, shown.shape[0] - 14 * scale), 0.6 * scale)
        return _with_loupe(shown, self.image, self.pointer, 30 * scale)


def _with_loupe(
    shown: NDArray[np.uint8], image: NDArray[np.uint8], pointer: tuple[int, int], half: int
) -> NDArray[np.uint8]:
    """Put an enlarged view of the pointer's surroundings in the corner farther from it."""
    height, width = image.shape[:2]
    x = min(max(pointer[0], half), width - half - 1)
    y = min(max(pointer[1], half), height - half - 1)
    part = image[y - half : y + half + 1, x - half : x + half + 1]
    side = min(part.shape[0] * _LOUPE, height // 2, width // 2)
    if side < 8:
        return shown
    loupe = cv2.resize(part, (side, side), interpolation=cv2.INTER_NEAREST)
    at = int((pointer[0] - x + half + 0.5) * side / (2 * half + 1))
    down = int((pointer[1] - y + half + 0.5) * side / (2 * half + 1))
    cv2.drawMarker(loupe, (at, down), _RED, cv2.MARKER_CROSS, side // 4, 1)
    left = 0 if pointer[0] > width // 2 else width - side
    shown[:side, left : left + side] = loupe
    return shown


def pick(image: NDArray[np.uint8]) -> list[Pixel] | None:
    """Let the user click the points in a window; None if they leave it.

    Raises
    ------
    WetlineError
        If no window can be opened.
    """
    return run_window(Picker(image), "Wetline: click the panel's corners")


def run_window(picker: Picker, title: str) -> list[Pixel] | None:
    """Let the user click what a picker asks for; None if they leave.

    Raises
    ------
    WetlineError
        If no window can be opened.
    """
    height, width = picker.picture().shape[:2]
    try:
        cv2.namedWindow(title, cv2.WINDOW_NORMAL | cv2.WINDOW_KEEPRATIO)
        cv2.resizeWindow(title, 1280, max(200, round(1280 * height / width)))
        cv2.setMouseCallback(title, picker.mouse)
        while True:
            cv2.imshow(title, picker.picture())
            key = cv2.waitKey(30) & 0xFF
            if key == 27 or cv2.getWindowProperty(title, cv2.WND_PROP_VISIBLE) < 1:
                return None
            if (key in (10, 13) and picker.may_stop()) or picker.done:
                return picker.points
            picker.press(key)
    except cv2.error as error:
        raise WetlineError("no window can be opened: run again with --no-window") from error
    finally:
        if has_display():
            cv2.destroyAllWindows()


def order_fault(corners: Sequence[Pixel]) -> str:
    """Return what is wrong with the order of clicked corners; empty when nothing is."""
    corner = turns(corners)
    if all(t > 0 for t in corner):
        return ""
    if all(t < 0 for t in corner):
        return "the corners run the wrong way round: click them clockwise, from the feed corner"
    return "the corners do not outline a panel: click them in turn around it"
