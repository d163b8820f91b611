"""A made-up run as a panel folder: photos or a film, panel.toml, truth.json."""

import json
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np

from tests.made_up.third_world.world import World

PANEL = """[panel]
name = "{name}"
length_mm = {length}
width_mm = {width}
flow = "edge"
[frames]
{frames}
[scale]
method = "corners"
corners_px = {corners}
[stack]
porosity = 0.5
[resin]
viscosity_mpas = 200
gel_time_min = 90
[vacuum]
pressure_difference_mbar = 900
[part]
flow_length_mm = 400
"""
SPEED_UP = 20
CODECS = {"h264": ("libx264", {"crf": "30", "preset": "fast"}), "mpeg4": ("mpeg4", {"qscale": "9"})}


def write(folder: Path, name: str, world: World, codec: str = "") -> Path:
    """Write a run; with `codec` as a film, else as photos in the name of their second."""
    folder.mkdir(parents=True, exist_ok=True)
    pictures = [world.photograph(k) for k in range(len(world.times_s))]
    seconds = np.array(world.times_s) - world.times_s[0]
    if codec:
        frames = f'source = "run.mp4"\nspeed_up = {SPEED_UP}'
        write_film(folder / "run.mp4", pictures, seconds / SPEED_UP, codec)
    else:
        step = float(np.diff(seconds).mean())
        frames = f'source = "frames"\ninterval_s = {step:.6f}'
        (folder / "frames").mkdir(exist_ok=True)
        for k, picture in enumerate(pictures):
            data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 93])[1]
            (folder / "frames" / f"f_{k:04d}.jpg").write_bytes(bytes(data))
    corners = [[round(float(c), 1) for c in corner] for corner in world.camera.corners_px]
    (folder / "panel.toml").write_text(
        PANEL.format(name=name, length=world.length_mm, width=world.width_mm, frames=frames,
                     corners=corners), encoding="utf-8")  # fmt: skip
    rows = [_row(world, s) for s in world.times_s]
    truth = {"first_s": float(world.times_s[0]), "rows": rows}
    (folder / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    return folder


def _row(world: World, time_s: float) -> dict[str, float]:
    lanes = world.truth.at(time_s)
    return {"clock_s": time_s - world.times_s[0], "time_s": time_s, "mean": float(lanes.mean()),
            "min": float(lanes.min()), "max": float(lanes.max())}  # fmt: skip


def write_film(path: Path, pictures: list[np.ndarray], shown_s: np.ndarray, codec: str) -> None:
    """Write a film whose pictures are shown at the given seconds, with a codec of few bits."""
    import av

    encoder, options = CODECS[codec]
    high, wide = (n - n % 2 for n in pictures[0].shape[:2])
    with av.open(str(path), "w") as film:
        stream = film.add_stream(encoder, rate=25, options=options)
        stream.width, stream.height, stream.pix_fmt = wide, high, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 1000)
        for picture, at in zip(pictures, shown_s, strict=True):
            frame = av.VideoFrame.from_ndarray(
                np.ascontiguousarray(picture[:high, :wide]), format="bgr24"
            )
            frame.pts, frame.time_base = round(float(at) * 1000), Fraction(1, 1000)
            for packet in stream.encode(frame):
                film.mux(packet)
        for packet in stream.encode():
            film.mux(packet)
