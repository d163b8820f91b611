"""Each reader by itself, fed any bytes: it returns, or raises `WetlineError`, and nothing else."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis.panel.gauge_readings import read_readings
from analysis.panel.panel_toml import read_panel
from analysis.panel.viscosity import read_gel_log, read_viscosity_log
from analysis.part.plan.outline import read_drawing
from analysis.part.plan.part_toml import read_part
from analysis.shop.gauge_log import read_gauge
from tests.made_up import knocks
from tests.made_up.hurts import hurt_bytes, hurt_table, hurt_toml
from vision.common.csv_table import clock_text_s
from vision.errors import WetlineError
from vision.frames.exif import is_cut_short, read_header
from vision.frames.photo_times import Photo
from vision.frames.photos import decode_photo
from vision.front.corrections import FixLimits, read_fixes
from vision.front.front_csv import read_front_csv
from vision.front.pen_marks import read_marks
from vision.front.results import load_run
from vision.scale.sheet_lines import read_sheet_facts
from vision.settings.event_log import read_stamps
from vision.settings.panel_settings import read_setup


@dataclass(frozen=True)
class Reader:
    """A file's name, what a sound one holds, and what reads it."""

    file: str
    sound: bytes
    read: Callable[[Path], object]


def settings(path):
    for read in (read_setup, read_panel, read_sheet_facts):
        _let(read, path.parent)


def table(path):
    limits = FixLimits(300.0, 160.0, 1000.0)
    for read in (
        read_marks,
        read_gauge,
        read_viscosity_log,
        read_gel_log,
        lambda one: read_fixes(one, clock_text_s, limits),
    ):
        _let(read, path)


def photo(path):
    """A photo is skipped, with an OSError for its reason, or decoded as its header says."""
    try:
        header = read_header(path)
        is_cut_short(path)
    except OSError:
        return
    image = decode_photo(Photo(path, header))
    assert image is None or image.shape[1::-1] == header.size


def _let(read, path):
    try:
        read(path)
    except WetlineError as error:
        if len(str(error)) < 15:
            raise AssertionError(f"says too little: {error}") from error


def _own(read):
    return lambda path: _let(read, path)


def _in_folder(read):
    return lambda path: _let(read, path.parent)


READERS = {
    "settings": Reader("panel.toml", knocks.RICH.encode(), settings),
    "part": Reader(
        "part.toml", knocks.PART.format(outline="rectangle_mm = [600, 300]").encode(),
        _own(read_part),
    ),
    "table": Reader("log.csv", knocks.LOG.encode(), table),
    "marks": Reader("marks.csv", knocks.MARKS.encode(), table),
    "corrections": Reader("fix.csv", knocks.FIX.encode(), table),
    "stamps": Reader("stamps.csv", knocks.STAMPS.encode(), _in_folder(read_stamps)),
    "readings": Reader("gauge.csv", knocks.GAUGE.encode(), _in_folder(read_readings)),
    "front": Reader("front.csv", b"frame,time_s\na,1\n", _own(read_front_csv)),
    "outline": Reader("cover.csv", knocks.OUTLINE.encode(), _own(read_drawing)),
    "svg": Reader("cover.svg", knocks.SVG.encode(), _own(read_drawing)),
    "dxf": Reader("cover.dxf", knocks.dxf_text(body=knocks.DXF_BODY).encode(), _own(read_drawing)),
    "arrival": Reader("arrival.npz", b"PK\x03\x04", _in_folder(load_run)),
    "photo": Reader("photo.jpg", knocks.small_photo("JPEG"), photo),
    "PNG": Reader("photo.png", knocks.small_photo("PNG"), photo),
    "TIFF": Reader("photo.tif", knocks.small_photo("TIFF"), photo),
}  # fmt: skip


def feed(reader: Reader, data: bytes, folder: Path) -> None:
    """Let a reader meet these bytes under its file's name; anything but a plain refusal raises."""
    for name, text in (
        ("marks.csv", knocks.MARKS),
        ("vacuum.csv", "time_s,bag_mbar\n0,30\n900,32\n"),
        ("viscosity.csv", "time_s,viscosity_mpas\n0,200\n3600,450\n"),
        ("results.json", "{}"),
    ):
        if not (folder / name).exists() or name == reader.file:
            (folder / name).write_text(text, encoding="utf-8")
    path = folder / reader.file
    path.write_bytes(data)
    reader.read(path)
    assert path.read_bytes() == data
    if reader.file == "marks.csv":
        path.unlink()


def feed_hurt(reader: Reader, choices, folder: Path) -> list[str]:
    """Hurt a sound file, let its reader meet it, and return what went wrong."""
    try:
        feed(reader, hurt_of(reader)(reader.sound, choices), folder)
    except Exception as error:
        return [f"reader of {reader.file}\n{type(error).__name__}: {error}"]
    return []


def hurt_of(reader: Reader) -> Callable:
    """Return the way to hurt a reader's file."""
    return {".toml": hurt_toml, ".csv": hurt_table}.get(Path(reader.file).suffix, hurt_bytes)
