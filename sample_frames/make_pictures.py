"""Make the pictures of README.md and guide.md: `python -m sample_frames.make_pictures [FOLDER]`."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import cv2

HERE = Path(__file__).resolve().parent
PLACE = HERE / "pictures"
WIDTH_PX, QUALITY = 960, 80
DARK, BLUE, SAND, GREY = "#222222", "#0072b2", "#e8e0d0", "#8a8a8a"


def make_pictures(to: Path) -> list[Path]:
    """Write all pictures into a folder and return where they are."""
    to.mkdir(parents=True, exist_ok=True)
    return [write_front_lines(to), write_camera_sketch(to)]


def write_front_lines(to: Path) -> Path:
    """Write what `wetline run sample_frames/glass_edge` draws, made smaller."""
    import wetline

    with tempfile.TemporaryDirectory() as scratch:
        panel = Path(scratch) / "glass_edge"
        left_out = shutil.ignore_patterns("results", "truth")
        shutil.copytree(HERE / "glass_edge", panel, ignore=left_out)
        wetline.main(["run", str(panel), "--quiet"], standalone_mode=False)
        drawn = cv2.imread(str(panel / "results" / "front_lines.jpg"))
    if drawn is None:
        raise SystemExit("the run drew no picture")
    size = (WIDTH_PX, round(drawn.shape[0] * WIDTH_PX / drawn.shape[1]))
    path = to / "front_lines.jpg"
    small = cv2.resize(drawn, size, interpolation=cv2.INTER_AREA)
    cv2.imwrite(str(path), small, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return path


def write_camera_sketch(to: Path) -> Path:
    """Write a sketch of camera, lamp, panel and cards: from the side, and from above."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.6, 3.4), dpi=100)
    side, above = figure.subplots(1, 2, width_ratios=(13.8, 14.5))
    for axes in (side, above):
        axes.set_aspect("equal")
        axes.axis("off")
    _draw_side(side)
    _draw_above(above)
    figure.tight_layout(pad=0.4, rect=(0, 0, 1, 0.95))
    path = to / "camera.png"
    figure.savefig(path, metadata={"Software": None})
    return path


def _draw_side(axes: Any) -> None:
    axes.set_title("From the side", loc="left", fontsize=11)
    axes.fill_between([-1.0, 11.0], -0.5, 0.0, color=SAND)
    axes.fill_between([2.0, 8.0], 0.0, 0.22, color=GREY)
    axes.text(5.0, -0.32, "table", ha="center", va="center", fontsize=9)
    axes.text(5.0, 0.45, "panel under the bag", ha="center", fontsize=9)
    axes.fill_between([4.5, 5.5], 6.4, 6.7, color=DARK)
    axes.text(5.0, 6.9, "camera, clamped, square above the middle", ha="center", fontsize=9)
    for x in (0.6, 9.4):
        axes.plot([5.0, x], [6.4, 0.0], "--", color=BLUE, lw=1)
    axes.annotate("", (9.9, 6.4), (9.9, 0.0), arrowprops={"arrowstyle": "<->", "color": DARK})
    axes.text(10.05, 3.2, "about as high\nas the panel\nis long", fontsize=9, va="center")
    axes.plot([-0.6, -0.2], [3.2, 3.6], color=DARK, lw=6)
    axes.plot([-0.2, 2.0], [3.2, 0.3], color=DARK, lw=1)
    axes.plot([2.0, 3.4], [0.3, 2.2], color=DARK, lw=1, ls=":")
    axes.text(-1.0, 4.0, "lamp, low and\nfrom the side", fontsize=9)
    axes.text(3.5, 2.2, "its mirror image\nmisses the camera", fontsize=9)
    axes.set_xlim(-1.2, 12.6)
    axes.set_ylim(-0.7, 7.6)


def _draw_above(axes: Any) -> None:
    axes.set_title("What the camera should see", loc="left", fontsize=11)
    axes.fill_between([0.0, 10.0], 0.0, 6.5, color=SAND)
    axes.fill_between([2.2, 7.8], 1.9, 4.6, color="#c9d3cf")
    axes.plot([2.2, 2.2], [1.9, 4.6], color=BLUE, lw=5)
    axes.plot([7.8, 7.8], [1.9, 4.6], color=DARK, lw=5, ls=":")
    axes.annotate("", (6.4, 3.25), (3.2, 3.25), arrowprops={"arrowstyle": "->", "lw": 2})
    axes.text(4.8, 3.5, "x, along the flow", ha="center", fontsize=9)
    axes.text(2.0, 3.25, "feed line", rotation=90, ha="right", va="center", fontsize=9)
    axes.text(8.05, 3.25, "vent", rotation=90, ha="left", va="center", fontsize=9)
    for x, y in ((2.4, 4.9), (6.8, 4.9), (6.8, 0.8), (2.4, 0.8)):
        axes.fill_between([x, x + 0.8], y, y + 0.8, color="white", edgecolor=DARK)
        axes.fill_between([x + 0.2, x + 0.6], y + 0.2, y + 0.6, color=DARK)
    axes.text(5.0, 0.3, "four cards, flat on the table", ha="center", fontsize=9)
    axes.text(5.0, 6.05, "a hand's width of table all round", ha="center", fontsize=9)
    axes.set_xlim(-0.2, 10.2)
    axes.set_ylim(-0.1, 6.6)


if __name__ == "__main__":
    for written in make_pictures(Path(sys.argv[1]) if len(sys.argv) > 1 else PLACE):
        print(written)
