"""The whole chain: drawn photos to the front, pen marks to permeability; repeats; file hashes.

Tested in tests/analysis/selftest/test_report.py.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from analysis.forecast.panel_answer import answer
from analysis.runs.repeat.control_chart import control_chart
from analysis.runs.repeat.tolerance import tolerance_factor
from analysis.selftest.check import Check
from vision.common.outside.input_files import file_hash
from vision.front.pen_marks import track_marks
from vision.settings.panel_settings import read_setup
from vision.tracking.api import track_images

HANDBOOK = "NIST/SEMATECH e-Handbook of Statistical Methods"
BATCHES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""Flow rates of ten batches in the handbook's 6.3.2.2."""
BERTHOUEX = "Berthouex and Brown, Statistics for Environmental Engineers, table 21.1"
SQUARE_ROOT = "square root of time (Washburn 1921) drawn into the photos"
MARKS_MM = (106.8, 151.0, 213.5, 261.5, 302.0, 337.6, 413.5, 477.5, 533.9)
"""Fronts of K 1e-10 m2, to 0.1 mm, at `MARKS_S`."""
MARKS_S = (60, 120, 240, 360, 480, 600, 900, 1200, 1500)
PANEL = """
[panel]
length_mm = 600
width_mm = 200
flow = "edge"
[frames]
source = "marks.csv"
[stack]
porosity = 0.5
[resin]
viscosity_mpas = 200
[vacuum]
pressure_difference_mbar = 950
"""


def drawn_front_mm() -> float:
    """Find the front in the last of 22 drawn photos: x = sqrt(60 mm2/s t) at 400 s."""
    bench = np.random.default_rng(1).integers(70, 130, (140, 240)).astype(np.uint8)
    times_s = np.arange(-20.0, 420.0, 20.0)
    images = []
    for front_mm in np.sqrt(60.0 * times_s.clip(0)):
        image = bench.copy()
        image[20:120, 20:220] += 80
        image[20:120, 20 : 20 + round(front_mm)] -= 50
        images.append(image)
    corners_px = [[19.5, 19.5], [219.5, 19.5], [219.5, 119.5], [19.5, 119.5]]
    run = track_images(images, times_s, corners_px, 200, 100)
    return float(run.curve.front_mean_mm[-1])


def marked_k_m2() -> float:
    """Compute the permeability from pen marks whose permeability is known."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        rows = zip(MARKS_S, MARKS_MM, strict=True)
        lines = "".join(f"{time_s},{front_mm}\n" for time_s, front_mm in rows)
        (folder / "marks.csv").write_text(f"time_s,distance_mm\n{lines}", encoding="utf-8")
        (folder / "panel.toml").write_text(PANEL, encoding="utf-8")
        found = answer(track_marks(read_setup(folder)), folder)
    if found.k_m2 is None:
        raise ValueError(found.reason)
    return found.k_m2


def _upper_limit() -> float:
    chart = control_chart("flow", "", [str(i) for i in range(10)], BATCHES, 10)
    if chart.upper is None:
        raise ValueError("no limit")
    return chart.upper


def _hash_start() -> float:
    """Return the first eight hexadecimal digits of a file's hash as a number."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "message"
        path.write_bytes(b"abc")
        return float(int(file_hash(path)[:8], 16))


CHAIN_CHECKS = (
    Check("front in drawn photos at 400 s", SQUARE_ROOT, 154.9, "mm", 1.0, drawn_front_mm, 4),
    Check(
        "permeability from pen marks of K 1e-10 m2", "square root of time (Washburn 1921)", 1e-10,
        "m2", 1.5e-12, marked_k_m2, 3,
    ),
    Check(
        "factor for 10 values, 95 % of them with 95 % confidence", BERTHOUEX, 3.39, "", 0.0075,
        lambda: tolerance_factor(10, 0.95, 0.95), 3,
    ),
    Check(
        "factor for 10 values, the same", "ISO 16269-6:2014 (from memory)", 3.393, "", 6e-4,
        lambda: tolerance_factor(10, 0.95, 0.95), 4,
    ),
    Check(
        "factor for 43 wafers, 90 % with 99 % confidence",
        f"{HANDBOOK}, 7.2.6.3, by Howe's approximation", 2.2173, "", 0.0067,
        lambda: tolerance_factor(43, 0.90, 0.99), 5,
    ),
    Check(
        "upper limit of the chart of individuals", f"{HANDBOOK}, 6.3.2.2", 55.8041, "", 1e-4,
        _upper_limit,
    ),
    Check(
        "first 32 bits of the hash of a file with abc", "FIPS 180-4 (NIST 2015), SHA-256",
        float(0xBA7816BF), "", 0.0, _hash_start, 10,
    ),
)  # fmt: skip
