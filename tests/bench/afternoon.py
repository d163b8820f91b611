"""The tracker beside what one would write in an afternoon from general-purpose parts.

Run by hand: ``python tests/bench/afternoon.py [FOLDER ...]``, each FOLDER holding panel folders
with a truth.json. All methods get the same frames laid flat by the same code, and the front is
read the same way: the furthest wet place of each lane after an opening that takes off specks.
Prints the root mean square error of the mean front in mm as a Markdown table.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from skimage.segmentation import chan_vese

sys.path.insert(0, str(Path(__file__).parents[2]))

import wetline
from tests.bench.runs import Run, lay_flat, rms, runs
from vision.rectify.rectifier import Rectifier

CHAN_VESE_COLUMNS = 110
"""Chan-Vese is slow: it runs on pictures shrunk to this."""


def otsu(canvases: list[np.ndarray]) -> list[np.ndarray]:
    """Difference to the first frame, split by Otsu's threshold (IEEE Trans. SMC 9, 1979)."""
    first = cv2.GaussianBlur(cv2.cvtColor(canvases[0], cv2.COLOR_BGR2GRAY), (5, 5), 0)
    masks = []
    for canvas in canvases:
        grey = cv2.GaussianBlur(cv2.cvtColor(canvas, cv2.COLOR_BGR2GRAY), (5, 5), 0)
        _, mask = cv2.threshold(cv2.absdiff(grey, first), 0, 1, cv2.THRESH_OTSU)
        masks.append(mask > 0)
    return masks


def background(canvases: list[np.ndarray]) -> list[np.ndarray]:
    """OpenCV's mixture-of-Gaussians background (Zivkovic, ICPR 2004), set by the first frame."""
    model = cv2.createBackgroundSubtractorMOG2(detectShadows=False)
    model.apply(canvases[0], learningRate=1.0)
    return [model.apply(canvas, learningRate=0.002) > 0 for canvas in canvases]


def two_regions(canvases: list[np.ndarray]) -> list[np.ndarray]:
    """scikit-image's active contours without edges (Chan and Vese 2001) on the difference."""
    rows, cols = canvases[0].shape[:2]
    small = (CHAN_VESE_COLUMNS, round(rows * CHAN_VESE_COLUMNS / cols))
    shrunk = [
        cv2.resize(cv2.cvtColor(c, cv2.COLOR_BGR2GRAY), small, interpolation=cv2.INTER_AREA)
        for c in canvases
    ]
    masks = []
    for grey in shrunk:
        difference = cv2.absdiff(grey, shrunk[0]).astype(float)
        if difference.max() == 0:
            masks.append(np.zeros((rows, cols), bool))
            continue
        inside = chan_vese(difference / difference.max(), mu=0.1, max_num_iter=60)
        if 0 < inside.mean() < 1 and difference[inside].mean() < difference[~inside].mean():
            inside = ~inside
        wide = cv2.resize(inside.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
        masks.append(wide > 0)
    return masks


def read_front(masks: list[np.ndarray], run: Run, rectifier: Rectifier) -> np.ndarray:
    """Mean over the lanes (or directions) of the furthest wet place, in mm."""
    mm = rectifier.mm_per_px
    kernel = np.ones((5, 5), np.uint8)
    opened = [cv2.morphologyEx(m.astype(np.uint8), cv2.MORPH_OPEN, kernel) > 0 for m in masks]
    if run.setup.flow == "point":
        areas = np.array([m.sum() for m in opened]) * mm**2
        return np.sqrt(areas / np.pi)
    cols = opened[0].shape[1]
    last = [np.where(m.any(axis=1), cols - np.argmax(m[:, ::-1], axis=1), 0) for m in opened]
    return np.array([lanes.mean() for lanes in last]) * mm


def ours(run: Run) -> float:
    """Track the run as the command does."""
    tracked = wetline.track(run.setup.folder)
    return rms(run.error_mm(tracked.curve.frames, tracked.curve.front_mean_mm))


METHODS = {
    "difference, Otsu": otsu,
    "MOG2": background,
    "Chan-Vese": two_regions,
}


def main() -> None:
    """Print the table."""
    print("| run | Wetline | " + " | ".join(METHODS) + " |")
    print("|---" * (len(METHODS) + 2) + "|")
    for run in runs(sys.argv[1:]):
        heads, canvases, rectifier = lay_flat(run)
        names = tuple(head.name for head in heads)
        cells = [f"{ours(run):.2f}"]
        for method in METHODS.values():
            front = read_front(method(canvases), run, rectifier)
            cells.append(f"{rms(run.error_mm(names, front)):.1f}")
        print(f"| {run.name} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
