"""Cost of reading and laying flat against its floor: decoding and warping the same frames.

Run by hand: ``python tests/bench/rectify_speed.py``. Both sides are measured in one run, frame
by frame in turn, and the ratio is printed.
"""

import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.made_up import camera
from tests.vision.scale.test_find_scale import CENTRES, PANEL
from vision.frames.source import open_frames
from vision.rectify.rectifier import Rectifier, canvas_points_mm
from vision.settings.panel_settings import read_setup

FRAMES = 40
SIZE = (1920, 1080)


def make_run(folder: Path) -> None:
    """Write a still run with noise, as JPEG photos of 1920 by 1080."""
    plan = camera.table(PANEL, CENTRES)
    photo = camera.draw(*plan, camera.homography(reach_mm=900.0))
    photo = np.clip(cv2.resize(photo, SIZE, interpolation=cv2.INTER_CUBIC), 0, 1)
    (folder / "frames").mkdir()
    for i in range(FRAMES):
        cv2.imwrite(str(folder / "frames" / f"{i}.jpg"), camera.develop(photo, seed=i))
    centres = [list(c) for c in CENTRES]
    (folder / "panel.toml").write_text(
        f"[panel]\nlength_mm = {PANEL[0]}\nwidth_mm = {PANEL[1]}\n[frames]\ninterval_s = 10\n"
        f'[scale]\nmethod = "sheet"\nmarker_mm = 42\nmarker_centres_mm = {centres}\n'
    )


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_run(folder)
        setup = read_setup(folder)
        start = time.perf_counter()
        frames = open_frames(setup)
        opened = time.perf_counter() - start
        start = time.perf_counter()
        rectifier = Rectifier(setup, frames)
        prepared = time.perf_counter() - start
        points = rectifier.plane.to_px(canvas_points_mm(rectifier.shape, rectifier.mm_per_px))
        maps = points.astype(np.float32).reshape(*rectifier.shape, 2)
        decode, warp, read, lay = [], [], [], []
        for i in range(len(frames)):
            t0 = time.perf_counter()
            data = np.fromfile(folder / "frames" / frames.names[i], np.uint8)
            image = cv2.imdecode(data, cv2.IMREAD_COLOR)
            t1 = time.perf_counter()
            cv2.remap(image, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR)
            t2 = time.perf_counter()
            frame = frames.read(i)
            t3 = time.perf_counter()
            rectifier.rectify(frame)
            t4 = time.perf_counter()
            decode.append(t1 - t0)
            warp.append(t2 - t1)
            read.append(t3 - t2)
            lay.append(t4 - t3)
    floor = np.sum(decode) + np.sum(warp)
    print(f"canvas {rectifier.shape}, photos {frames.size}, {len(frames)} frames")
    print(
        f"floor   decode {np.mean(decode) * 1e3:6.2f} ms   warp      {np.mean(warp) * 1e3:6.2f} ms"
    )
    print(f"wetline read   {np.mean(read) * 1e3:6.2f} ms   rectify   {np.mean(lay) * 1e3:6.2f} ms")
    print(f"once    open   {opened * 1e3:6.0f} ms   reference {prepared * 1e3:6.0f} ms")
    print(f"ratio per frame {(np.sum(read) + np.sum(lay)) / floor:.2f}")
    everything = opened + prepared + np.sum(read) + np.sum(lay)
    print(f"ratio with the work done once, over {len(frames)} frames {everything / floor:.2f}")


if __name__ == "__main__":
    main()
