"""Small whole panels and parts to be hurt in every way, and the check that a hurt was borne."""

import hashlib
import io
import os
from pathlib import Path

import cv2
import numpy as np
from click.testing import CliRunner
from PIL import Image

from tests.made_up import live_run
from tests.made_up.film import write_film
from vision.cameras.camera import Shot
from vision.cameras.frame_store import FrameStore
from wetline import main

START_S = 1_900_000_000.0
RAW = ("Traceback", "fault of its own", "Errno", "cv2.", "numpy.", "<class", " object at 0x")
MARKS = "time_min,distance_mm\n" + "".join(
    f"{t},{(18_000 * t) ** 0.5:.0f}\n" for t in (1, 2, 4, 7, 11, 16, 22, 29)
)
FRAMES = "[frames]\n"
FILM = '[frames]\nsource = "run.mov"\nspeed_up = 30\n'
FIX = "time_s,x_mm,y_mm,line\n300,190,40,a\n300,191,90,a\n"
STAMPS = "clock,kind,text,photo\n2030-03-17T18:46:41+01:00,note,bag is tight,\n"
GAUGE = "clock_s,bag_mbar\n1900000000,30\n1900000300,32\n"
LOG = "time_s,bag_mbar\n" + "".join(f"{t},{30 + t / 300:.2f}\n" for t in range(0, 1500, 60))
OUTLINE = "x_mm,y_mm\n0,0\n600,0\n600,300\n0,300\n"
PART = """
name = "hatch cover"
[outline]
{outline}
[stack]
k_m2 = 2e-10
porosity = 0.5
thickness_mm = 3
[[feed]]
line_mm = [[5, 10], [5, 290]]
[[vent]]
line_mm = [[595, 10], [595, 290]]
[resin]
viscosity_mpas = 200
gel_time_min = 60
[vacuum]
pressure_difference_mbar = 950
[grid]
cells = 20
"""
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="300mm" viewBox="0 0 600 300">'
    '<path d="M 0 0 L 600 0 L 600 300 L 0 300 Z"/></svg>'
)


def marks_panel(folder: Path) -> Path:
    live_run.write_panel(folder, scale=False)
    (folder / "marks.csv").write_text(MARKS, encoding="utf-8")
    text = live_run.PANEL.format(scale=FRAMES + 'source = "marks.csv"', gel_min=60)
    text = text.replace("length_mm = 300\nwidth", "length_mm = 900\nwidth")
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    return folder


RICH = """
[panel]
name = "Hatch cover strip"
length_mm = 900
width_mm = 160
[frames]
source = "marks.csv"
[stack]
layers = 4
areal_weight_g_m2 = 600
fibre_density_kg_m3 = 2550
thickness_mm = 1.9
[resin]
viscosity_log = "viscosity.csv"
gel_time_min = 60
density_kg_m3 = 1100
temperature_c = 22
hardener_parts = 30
[vacuum]
log = "vacuum.csv"
ambient_mbar = 1010
[part]
flow_length_mm = 600
area_m2 = 1.2
thickness_mm = 2
feed_line = "same"
"""


def rich_marks_panel(folder: Path) -> Path:
    """A pen-marked panel with logs and every table filled in."""
    marks_panel(folder)
    (folder / "panel.toml").write_text(RICH, encoding="utf-8")
    rows = [f"{t},{30 + t / 600:.1f}" for t in range(0, 2400, 300)]
    (folder / "vacuum.csv").write_text("time_s,bag_mbar\n" + "\n".join(rows), encoding="utf-8")
    rows = [f"{t},{200 * 2 ** (t / 3000):.0f}" for t in range(0, 3600, 300)]
    text = "time_s,viscosity_mpas\n" + "\n".join(rows)
    (folder / "viscosity.csv").write_text(text, encoding="utf-8")
    return folder


def photo_panel(folder: Path, count: int = 7) -> Path:
    live_run.write_panel(folder)
    text = (folder / "panel.toml").read_text(encoding="utf-8")
    (folder / "panel.toml").write_text(
        f"{FRAMES}{text}area_m2 = 1.2\nthickness_mm = 3\n", encoding="utf-8"
    )
    store = FrameStore(folder / "frames")
    for k, time_s in enumerate(np.linspace(-30.0, 500.0, count)):
        store.write(Shot(live_run.photo(time_s, seed=k), START_S + time_s))
    return folder


def film_panel(folder: Path, durations_ms=(400,) * 7) -> Path:
    live_run.write_panel(folder)
    text = (folder / "panel.toml").read_text(encoding="utf-8")
    (folder / "panel.toml").write_text(f"{FILM}{text}", encoding="utf-8")
    images = [live_run.picture(t) for t in np.linspace(-30.0, 500.0, len(durations_ms))]
    write_film(folder / "run.mov", images, durations_ms)
    return folder


def part_folder(folder: Path, outline: str = "rectangle_mm = [600, 300]") -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "part.toml").write_text(PART.format(outline=outline), encoding="utf-8")
    return folder


def call(*arguments, typed=None):
    return CliRunner().invoke(main, [str(one) for one in arguments], input=typed)


def digests(folder: Path) -> dict[str, str]:
    """A digest of each plain file that the user put there; results and records are Wetline's."""
    found = {}
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(folder)
        if "results" in inside.parts or not path.is_file() or path.is_symlink():
            continue
        found[str(inside)] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def halves(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".part-*")]


def faults_of(result) -> list[str]:
    """What a user should never see after a command; empty when it was borne well."""
    found = []
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        found.append(f"raised {type(result.exception).__name__}: {result.exception}")
    if result.exit_code not in (0, 1, 2, 3, 4):  # 3 and 4: a run unlike the good ones, or not told
        found.append(f"exit code {result.exit_code}")
    found += [f"shows {word!r}" for word in RAW if word in result.output]
    if result.exit_code == 1:
        errors = [line for line in result.output.splitlines() if line.startswith("Error:")]
        if len(errors) != 1 or len(errors[0]) < 20:
            found.append(f"not one line of error: {errors}")
    return [f"{fault}\n{result.output[-600:]}" for fault in found]


def assert_borne(result, said: str | None = None):
    assert not faults_of(result), faults_of(result)
    if said is not None:
        assert result.exit_code == 1, result.output
        assert said in result.output, result.output


def make_pipe(path: Path) -> None:
    path.unlink(missing_ok=True)
    os.mkfifo(path)


def dxf_text(unit: str = "4", body: str = "") -> str:
    return (
        f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n9\n$INSUNITS\n70\n{unit}\n0\nENDSEC\n"
        f"0\nSECTION\n2\nENTITIES\n{body}0\nENDSEC\n0\nEOF\n"
    )


_CORNERS = ((0, 0), (600, 0), (600, 300), (0, 300))
DXF_BODY = "".join(
    f"0\nLINE\n8\n0\n10\n{a[0]}\n20\n{a[1]}\n11\n{b[0]}\n21\n{b[1]}\n"
    for a, b in zip(_CORNERS, _CORNERS[1:] + _CORNERS[:1], strict=True)
)


def small_photo(kind: str) -> bytes:
    """A photo of 40 x 30 pixels with a capture time."""
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0x9003: "2031:05:20 14:05:30", 0x9291: "25", 0x9011: "+02:00"})
    Image.effect_noise((40, 30), 40).convert("RGB").save(out, kind, exif=exif.tobytes())
    return out.getvalue()


def count_unpacked(monkeypatch):
    """Return a list that takes in how many pixels each picture has that OpenCV unpacks."""
    unpacked, decode = [], cv2.imdecode

    def counted(*arguments, **more):
        picture = decode(*arguments, **more)
        unpacked.append(0 if picture is None else picture.shape[0] * picture.shape[1])
        return picture

    monkeypatch.setattr(cv2, "imdecode", counted)
    return unpacked
