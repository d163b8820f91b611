"""Every reader and command, and the file each of them may find hurt."""

import io
import json
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from unittest import mock

from PIL import Image

import analysis.batch.batch
from analysis.batch.one_panel import bring_up_to_date
from analysis.batch.workers import Finished
from tests.made_up import knocks
from tests.made_up.hurts import (
    ODD_CELLS,
    hurt_arrays,
    hurt_bytes,
    hurt_json,
    hurt_table,
    hurt_toml,
)

FOLDER = "{folder}"
QUICK = ("--no-search", "--no-animation", "--quiet")
LONGEST_S = 20.0
"""No command on these small folders takes longer, whatever was done to them."""
FAILED = ("Failed:", '"state": "failed"')
"""How a batch says, in lines or as JSON, that a panel failed: its exit code is 1 then."""
MAY_CHANGE = {"sheet": {"panel.toml"}, "record": {"day.toml"}}
"""What a command writes besides results: the card places, and what is filed."""


@dataclass(frozen=True)
class Case:
    """A folder, one of its files, how it is hurt, and the commands that then meet it."""

    name: str
    make: Callable[[Path], Path]
    file: str
    hurt: Callable
    commands: tuple[tuple[str, ...], ...]


def marks_run(folder):
    knocks.rich_marks_panel(folder)
    assert knocks.call("run", folder, "--quiet").exit_code == 0
    return folder


def photo_run(folder):
    knocks.photo_panel(folder, 5)
    (folder / "fix.csv").write_text(knocks.FIX, encoding="utf-8")
    (folder / "stamps.csv").write_text(knocks.STAMPS, encoding="utf-8")
    (folder / "gauge.csv").write_text(knocks.GAUGE, encoding="utf-8")
    assert knocks.call("run", folder, "--quiet").exit_code == 0
    return folder


def filed_run(folder):
    """A panel with photos of its day filed, beside a second one like it."""
    photo_run(folder)
    shot = sorted((folder / "frames").iterdir())[-1]
    arguments = ("--stage", "face", "--mark", "pit 210 45", "--surface", "good")
    assert knocks.call("record", folder, shot, *arguments).exit_code == 0
    return folder


def fresh_photos(folder):
    return knocks.photo_panel(folder, 5)


def photos_of(kind):
    def make(folder):
        knocks.photo_panel(folder, 5)
        first = sorted((folder / "frames").iterdir())[1]
        with Image.open(first) as image:
            out = io.BytesIO()
            image.save(out, kind)
        (folder / "frames" / f"odd.{kind.lower()}").write_bytes(out.getvalue())
        return folder

    return make


def part_run(folder):
    knocks.part_folder(folder)
    assert knocks.call("part", folder, *QUICK).exit_code == 0
    return folder


def drawn_part(name, data):
    def make(folder):
        knocks.part_folder(folder, f'file = "{name}"')
        (folder / name).write_text(data, encoding="utf-8")
        return folder

    return make


def batch_run(folder):
    """A panel and a plan beneath one folder that a batch has been through."""
    knocks.rich_marks_panel(folder / "a")
    knocks.part_folder(folder / "plan")
    with _one_process():
        assert knocks.call("batch", folder, "--quiet").exit_code == 0
    return folder


def log_folder(folder):
    folder.mkdir(parents=True)
    (folder / "gauge_log.csv").write_text(knocks.LOG, encoding="utf-8")
    return folder


LOG = FOLDER + "/gauge_log.csv"
BATCH = (("batch", FOLDER, "--quiet"), ("batch", FOLDER, "--json"))
RUN, FIT = ("run", FOLDER, "--quiet"), ("fit", FOLDER)
CASES = (
    Case("panel.toml of pen marks", marks_run, "panel.toml", hurt_toml,
         (RUN, FIT, ("forecast", FOLDER), ("resin", FOLDER))),
    Case("panel.toml of photos", photo_run, "panel.toml", hurt_toml,
         (("track", FOLDER, "-q"), FIT, ("lines", FOLDER))),
    Case("panel.toml before the first run", fresh_photos, "panel.toml", hurt_toml,
         (("sheet", FOLDER), ("corners", FOLDER, "--no-window"), ("resin", FOLDER))),
    Case("panel.toml of a film", knocks.film_panel, "panel.toml", hurt_toml, (("track", FOLDER),)),
    Case("marks.csv", marks_run, "marks.csv", hurt_table, (RUN, FIT)),
    Case("vacuum.csv", marks_run, "vacuum.csv", hurt_table, (RUN,)),
    Case("viscosity.csv", marks_run, "viscosity.csv", hurt_table, (RUN, ("forecast", FOLDER))),
    Case("fix.csv", photo_run, "fix.csv", hurt_table, (("track", FOLDER, "-q"),)),
    Case("stamps.csv", photo_run, "stamps.csv", hurt_table, (("track", FOLDER, "-q"), FIT)),
    Case("gauge.csv", photo_run, "gauge.csv", hurt_table, (FIT,)),
    Case("drawdown log", log_folder, "gauge_log.csv", hurt_table,
         (("drawdown", LOG), ("drawdown", LOG, "--json"))),
    Case("results.json", photo_run, "results/results.json", hurt_json,
         (FIT, ("forecast", FOLDER), ("lines", FOLDER))),
    Case("results.json beside others", photo_run, "results/results.json", hurt_json,
         (("data", FOLDER, "-q"), ("repeat", FOLDER, "--judge", FOLDER, "-q"),
          ("compare", FOLDER, "--to", FOLDER + "/results/side"))),
    Case("day.toml", filed_run, "day.toml", hurt_toml,
         (("record", FOLDER, "--note", "bag was tight"), ("record", FOLDER))),
    Case("filed photo", filed_run, "stages/demoulded_face.jpg", hurt_bytes, (("record", FOLDER),)),
    Case("front.csv", photo_run, "results/front.csv", hurt_table, (FIT, ("resin", FOLDER))),
    Case("arrival.npz", photo_run, "results/arrival.npz", hurt_arrays, (FIT, ("lines", FOLDER))),
    Case("part.toml", part_run, "part.toml", hurt_toml, (("part", FOLDER, *QUICK),)),
    Case("filling.npz", part_run, "results/filling.npz", hurt_arrays, (("part", FOLDER, *QUICK),)),
    Case("outline.csv", drawn_part("cover.csv", knocks.OUTLINE), "cover.csv", hurt_table,
         (("part", FOLDER, *QUICK),)),
    Case("outline.svg", drawn_part("cover.svg", knocks.SVG), "cover.svg", hurt_bytes,
         (("part", FOLDER, *QUICK),)),
    Case("outline.dxf", drawn_part("cover.dxf", knocks.dxf_text(body=knocks.DXF_BODY)), "cover.dxf",
         hurt_bytes, (("part", FOLDER, *QUICK),)),
    Case("panel.toml in a batch", batch_run, "a/panel.toml", hurt_toml, BATCH),
    Case("fingerprint.json", batch_run, "a/results/fingerprint.json", hurt_json, BATCH),
    Case("results.json in a batch", batch_run, "a/results/results.json", hurt_json, BATCH),
    Case("part.toml in a batch", batch_run, "plan/part.toml", hurt_toml, BATCH),
    Case("film", knocks.film_panel, "run.mov", hurt_bytes, (("track", FOLDER, "-q"),)),
    Case("JPEG", photos_of("JPEG"), "frames/odd.jpeg", hurt_bytes,
         (("track", FOLDER, "-q"), ("lines", FOLDER, FOLDER + "/frames/odd.jpeg"))),
    Case("PNG", photos_of("PNG"), "frames/odd.png", hurt_bytes, (("track", FOLDER, "-q"),)),
    Case("TIFF", photos_of("TIFF"), "frames/odd.tiff", hurt_bytes, (("track", FOLDER, "-q"),)),
)  # fmt: skip
OPTIONS = (
    ("sheet", "--output", FOLDER + "/s.pdf", "--length", "?", "--width", "?"),
    ("sheet", FOLDER, "--length", "?"),
    ("sheet", "--paper", "?"),
    ("drawdown", FOLDER + "/marks.csv", "--unit", "?"),
    ("drawdown", FOLDER + "/vacuum.csv", "--ambient-mbar", "?", "--limit-min", "?"),
    ("drawdown", FOLDER + "/vacuum.csv", "--volume-l", "?", "--gel-min", "?"),
    ("new", FOLDER + "/next", "--name", "?", "--length", "?", "--no-ask"),
    ("new", FOLDER + "/?", "--no-ask"),
    ("lines", FOLDER, "?"),
    ("lines", FOLDER, "--minutes", "?"),
    ("resin", FOLDER, "--before-kg", "?", "--after-kg", "?"),
    ("resin", FOLDER, "--waste-percent", "?"),
    ("forecast", FOLDER, "--vacuum", "?"),
    ("forecast", FOLDER, "--viscosity", "?"),
    ("run", FOLDER + "?"),
    ("part", FOLDER, "--cells", "?"),
    ("part", FOLDER + "/panel.toml"),
    ("watch", FOLDER + "/none", "--camera", "?", "--quiet"),
    ("record", FOLDER, "--note", "?", "--surface", "?"),
    ("record", FOLDER, "--mark", "?", "--thickness", "?"),
    ("record", FOLDER, FOLDER + "/marks.csv", "--stage", "?", "--at", "?"),
    ("data", FOLDER, "--to", FOLDER + "/?"),
    ("compare", FOLDER, "--length-mm", "?", "--to", FOLDER + "/side"),
    ("repeat", FOLDER, "--coverage-percent", "?", "--to", FOLDER + "/side"),
    ("batch", FOLDER, "--jobs", "?"),
    ("batch", FOLDER + "/?"),
    ("?", FOLDER),
)


@cache
def _base(make, root: Path) -> Path:
    return make(root / f"base_{make.__name__}_{abs(hash(make)) % 10**8}")


def borne(case: Case, choices, work: Path, bases: Path) -> list[str]:
    """Hurt a fresh copy of the case's folder, run its commands, and return what went wrong."""
    folder = work / "panel"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(_base(case.make, bases), folder)
    path = folder / case.file
    path.write_bytes(case.hurt(path.read_bytes(), choices))
    found = []
    for command in case.commands:
        arguments = [one.replace(FOLDER, str(folder)) for one in command]
        found += _watched(arguments, folder, MAY_CHANGE.get(command[0], set()))
    return found


def borne_options(choices, work: Path, bases: Path) -> list[str]:
    """Run a command with odd values for its options, and return what went wrong."""
    folder = work / "panel"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(_base(marks_run, bases), folder)
    way, place, value = choices[0]
    odd = [ODD_CELLS[k % len(ODD_CELLS)].replace("\0", "") for k in (place, value, place + value)]
    arguments = [
        one.replace("?", odd[k % 3][:3000]).replace(FOLDER, str(folder))
        for k, one in enumerate(OPTIONS[way % len(OPTIONS)])
    ]
    return _watched(arguments, folder, set())


def _watched(arguments, folder: Path, may_change: set[str]) -> list[str]:
    before = knocks.digests(folder)
    began = time.process_time()  # whatever else the computer does meanwhile
    with _one_process():
        result = knocks.call(*arguments)
    took_s = time.process_time() - began
    found = knocks.faults_of(result)
    if arguments[0] == "batch" and any(word in result.output for word in FAILED):
        found = [one for one in found if not one.startswith("not one line of error")]
    if took_s > LONGEST_S:
        found.append(f"took {took_s:.0f} s")
    after = knocks.digests(folder)
    changed = {name for name, mark in before.items() if after.get(name) != mark} - may_change
    found += [f"changed {name}" for name in sorted(changed)]
    found += [f"left {name}" for name in knocks.halves(folder)]
    found += _odd_json(folder)
    return [f"wetline {' '.join(arguments)[:300]}\n{one}" for one in found]


def _one_process():
    """A batch does its panels in this process: a process for each would take most of the time."""

    def work(orders, wish):
        yield from (Finished(order, bring_up_to_date(order)) for order in orders)

    return mock.patch.object(analysis.batch.batch, "_work", work)


def _odd_json(folder: Path) -> list[str]:
    """JSON that a strict reader would refuse, among what a successful command wrote."""
    found = []
    for name in ("resin.json", "part.json", "forecast.json"):
        path = folder / "results" / name
        if path.is_file():
            try:
                json.loads(path.read_text("utf-8"), parse_constant=_no_constant)
            except ValueError as error:
                found.append(f"{name}: {error}")
    return found


def _no_constant(text):
    raise ValueError(f"holds {text}")
