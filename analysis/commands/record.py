"""The command that files what happened at a panel and writes its report.

Tested in tests/analysis/commands/test_record.py.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.record.day.day_records import Day, Points, StagePhoto
    from analysis.record.day.mark_flow import MarkFlow
    from vision.parts.tapping.tap_check import Pixel

FOLDER = click.Path(path_type=Path, file_okay=False)
PHOTO = click.Path(path_type=Path, dir_okay=False)
_FINDINGS = ("surface", "pits", "print_through", "dry_areas", "weight", "resin_used", "resin_left")
_MEASURED = ("thickness", "weight", "resin_used", "resin_left")
_KG = ("weight", "resin_used", "resin_left")


@click.command()
@click.argument("folder", type=FOLDER)
@click.argument("photos", nargs=-1, type=PHOTO)
@click.option("--stage", help="What the photos show: stack, bag, drawdown, resin open, end of "
              "fill, face, back, or other.")  # fmt: skip
@click.option("--at", default="", help="When they were taken, e.g. 14:05.  [default: by the photo]")
@click.option("--note", help="A line about the photos; without photos, about the panel.")
@click.option("--corners", help='The corners in a photo that shows no cards, in pixels: '
              '"120,80 900,90 890,500 110,490"; of a part in its plan\'s order.')  # fmt: skip
@click.option("--mark", "marks", multiple=True,
              help='What was found, at x and y in mm: "pit 210 45"; repeatable.')  # fmt: skip
@click.option(
    "--take-out",
    "taken_out",
    multiple=True,
    metavar="FILE",
    help="A photo filed by mistake, such as stages/bag.jpg; it is kept in taken_out.",
)
@click.option("--surface", help="very good, good, fair, poor or scrap.")
@click.option("--pits", help="none, few or many.")
@click.option("--print-through", help="none, slight or strong.")
@click.option("--dry-areas", help="none, few or many.")
@click.option("--thickness", help='Four corners and the middle, mm: "2.1 2.0 2.1 2.2 2.1".')
@click.option("--weight", help='Of the demoulded panel: kg, or "850 g".')
@click.option("--resin-used", help="Mixed resin that went in, kg.")
@click.option("--resin-left", help="Mixed resin left over, kg.")
@click.option("--by", "done_by", help="Who did it.")
@click.option("--batch", help="Batches of resin and stack.")
@click.option("--paper", type=click.Choice(["A4", "letter"]), default="A4", show_default=True,
              help="What the report prints on.")  # fmt: skip
@click.option("--inch", is_flag=True, help="Inches, inHg and pounds beside the metric values.")
@click.option("--verify", is_flag=True, help="Say what has changed since the report was written.")
@click.option("--json", "as_json", is_flag=True, help="Print what is filed, or what has changed.")
@click.option("--quiet", "-q", is_flag=True, help="Say nothing but faults and changes.")
def record(folder: Path, photos: tuple[Path, ...], verify: bool, **told: Any) -> None:
    """File photos and findings of a panel or part, and write its report.

    Photos are copied into FOLDER/stages; the findings stand in FOLDER/day.toml, which may be
    edited by hand. The report, report.html and report.pdf, is written again each time:

    \b
    wetline record my_panel IMG_7.jpg --stage bag --note "pleat at the vent"
    wetline record my_panel face.jpg --stage face --mark "pit 210 45" --surface good
    wetline record my_panel --take-out stages/bag.jpg
    wetline record my_panel --verify

    A part folder with a run gets part_record.html and .pdf: panel, plan, what was seen and learnt,
    what was filed, and the lines to change in the next part.toml. Its marks are in the plan's mm.
    """
    from analysis.part.part_folder import is_part
    from analysis.record.day.day_toml import read_day
    from analysis.record.day.filing import parse_mark

    if verify:
        _verify(folder, told["as_json"], told["quiet"])
        return
    part = is_part(folder)
    if not part:
        _require_panel(folder)
    corners, marks = _corners(told["corners"], part), [parse_mark(text) for text in told["marks"]]
    meant = _to_take_out(folder, told)
    with _all_or_nothing(folder) as added:
        _file_findings(folder, photos, told, marks)
        _file_photos(folder, photos, told, corners, part, added)
    _take_out(folder, meant, told["quiet"] or told["as_json"])
    write = _write_part if part else _write_panel
    write(folder, read_day(folder), told)


def _require_panel(folder: Path) -> None:
    """Refuse a folder that is neither a panel nor a part: nothing could be reported of it."""
    from vision.errors import WetlineError

    if not folder.is_dir():
        raise WetlineError(f"{folder}: no such folder: make one with `wetline new FOLDER`")
    if not (folder / "panel.toml").exists():
        raise WetlineError(
            f"{folder}: has no panel.toml and no part.toml: name the folder of a panel or part, "
            "or make one with `wetline new FOLDER`"
        )


@contextmanager
def _all_or_nothing(folder: Path) -> Generator[list[Path]]:
    """Take away again what was filed where the rest is refused; photos filed go into the list."""
    from analysis.record.day.day_toml import FILE
    from vision.common.atomic_files import replace_file
    from vision.errors import WetlineError

    page, added = folder / FILE, list[Path]()
    before = page.read_bytes() if page.is_file() else None
    try:
        yield added
    except WetlineError:
        for path in added:
            path.unlink(missing_ok=True)
        if before is None:
            page.unlink(missing_ok=True)
        elif page.read_bytes() != before:
            replace_file(page, lambda part: part.write_bytes(before))
        raise


def _to_take_out(folder: Path, told: dict[str, Any]) -> list[StagePhoto]:
    """Return the filed photos that are meant; where one is filed twice, --stage tells which."""
    from analysis.record.day.day_toml import read_day
    from analysis.record.day.filing import STAGES_FOLDER, stage_named
    from vision.errors import WetlineError

    meant: list[StagePhoto] = []
    photos = read_day(folder).photos if told["taken_out"] else ()
    for file in told["taken_out"]:
        plain = file.replace("\\", "/")
        found = [one for one in photos if one.file in (plain, f"{STAGES_FOLDER}/{plain}")]
        if told["stage"] and len(found) > 1:
            found = [one for one in found if one.stage == stage_named(told["stage"])]
        if len(found) != 1:
            listed = ", ".join(f"{one.file} ({one.stage})" for one in photos) or "none"
            fault = "is filed more than once: add its --stage" if found else "is not filed"
            raise WetlineError(f"--take-out {file}: {fault}; filed are: {listed}")
        meant += found
    return meant


def _take_out(folder: Path, meant: Sequence[StagePhoto], quiet: bool) -> None:
    from datetime import datetime

    from analysis.record.day.taking_out import take_out_photo

    for photo in meant:
        out = take_out_photo(folder, photo.file, photo.stage, datetime.now())
        if not quiet:
            click.echo(f"Taken out: {out.file} ({out.stage}), kept as {out.kept}")


def _file_photos(
    folder: Path,
    photos: tuple[Path, ...],
    told: dict[str, Any],
    corners: Sequence[Pixel | None],
    part: bool,
    added: list[Path],
) -> None:
    from analysis.record.day.filing import file_photo
    from vision.errors import WetlineError

    if photos and not told["stage"]:
        raise WetlineError("--stage is needed with a photo: stack, bag, resin open, face, ...")
    alone = ("at", "corners") if told["taken_out"] else ("stage", "at", "corners")
    lone = [f"--{key}" for key in alone if told[key] and not photos]
    if lone:
        raise WetlineError(f"{lone[0]} goes with a photo: name the photo behind the folder")
    if corners and len(photos) > 1:
        raise WetlineError("--corners are those of one photo: file the photos one by one")
    lines: list[str] = []
    for photo in photos:
        px, mm = _on_plan(folder, photo, corners) if part else (tuple(filter(None, corners)), ())
        filed = file_photo(
            folder, photo, told["stage"],
            note=told["note"] or "", at=told["at"], corners_px=px, points_mm=mm,
        )  # fmt: skip
        added.append(folder / filed.file)
        when = f", {filed.time.replace('T', ' ')}" if filed.time else ""
        lines.append(f"Filed: {filed.file} ({filed.stage}{when})")
    if lines and not told["quiet"] and not told["as_json"]:
        click.echo("\n".join(lines))


def _on_plan(folder: Path, photo: Path, corners: Sequence[Pixel | None]) -> tuple[Points, Points]:
    """Check corners of a part against its plan; return them and their places on it."""
    if not corners:
        return (), ()
    from analysis.record.part.part_photos import tapped_in
    from vision.drawing.pictures import read_photo

    return tapped_in(folder, read_photo(photo), corners, "--corners")


def _corners(text: str | None, part: bool) -> tuple[Pixel | None, ...]:
    """Read corners in pixels; a dash stands for one of a part that does not show."""
    from vision.errors import WetlineError

    if not text:
        return ()
    try:
        read = tuple(None if one == "-" else _pixel(one) for one in text.split())
    except ValueError:
        read = ()
    if part and len(read) < 4:
        raise WetlineError(
            f"--corners {text}: must be four or more points in pixels, in the order that `wetline "
            'corners FOLDER --no-window` tells, such as "120,80 900,90 - 890,500 110,490"'
        )
    if not part and (len(read) != 4 or None in read):
        raise WetlineError(
            f'--corners {text}: must be four points in pixels, such as "120,80 900,90 890,500 '
            '110,490", from the feed corner in turn'
        )
    return read


def _thickness(text: str) -> list[str]:
    """Read the five thicknesses as typed; a unit behind the last alone is that of all."""
    import re

    from vision.common.quantity import LENGTH_MM, read_quantity
    from vision.errors import WetlineError

    values: list[str] = []
    for one in re.split(r"[\s;]+|,\s+", text.strip(" ,;")):
        if values and one and not re.match(r"[-+.,\d]", one):
            values[-1] += f" {one}"
        else:
            values.append(one)
    for one in values:
        try:
            read_quantity(one, LENGTH_MM)
        except ValueError as error:
            raise WetlineError(f"--thickness {one}: {error}") from None
    if len(values) != 5:
        told = "1 place is" if len(values) == 1 else f"{len(values)} places are"
        raise WetlineError(
            f"--thickness {text}: {told} told: five are needed, the four corners and the middle, "
            'such as "2.1 2.0 2.1 2.2 2.1"; a decimal has a point and no blank'
        )
    units = [re.sub(r"^[-+.,\d]+\s*", "", one) for one in values]
    if units[-1] and not any(units[:-1]):
        return [f"{one} {units[-1]}" for one in values[:-1]] + values[-1:]
    if any(units) and not all(units):
        raise WetlineError(
            f"--thickness {text}: some have a unit and some have none: write it behind each, or "
            "behind the last for all"
        )
    return values


def _pixel(text: str) -> Pixel:
    x, y = text.split(",")
    return float(x), float(y)


def _file_findings(
    folder: Path,
    photos: tuple[Path, ...],
    told: dict[str, Any],
    marks: list[tuple[str, float, float, str]],
) -> None:
    from analysis.record.day.filing import add_mark, set_day, set_findings

    values = {f"{key}_kg" if key in _KG else key: told[key] for key in _FINDINGS if told[key]}
    if told["thickness"]:
        values["thickness_mm"] = _thickness(told["thickness"])
    if told["note"] and not photos:
        values["note"] = told["note"]
    if values:
        set_findings(folder, **values)
    about = {key: told[key] for key in ("done_by", "batch") if told[key]}
    if about:
        set_day(folder, **about)
    for kind, x_mm, y_mm, note in marks:
        add_mark(folder, kind, x_mm, y_mm, note)


def _write_panel(folder: Path, day: Day, told: dict[str, Any]) -> None:
    """Write the report where the panel has been tracked, and say what it holds."""
    from analysis.record.record import filed_flow, rewrite_record

    tracked = (folder / "results" / "results.json").is_file()
    found = None
    if tracked:
        found = rewrite_record(folder, paper=told["paper"], inch=told["inch"])
    flows = [] if found is None else filed_flow(day, found)
    if tracked:
        end = f"Report: {folder / 'results' / 'report.html'}, report.pdf beside it"
    else:
        filed = "Filed. " if _anything(told) else ""
        end = f"{filed}The report comes with the result: `wetline run {folder}`"
    _say(day, flows, told, end)


def _write_part(folder: Path, day: Day, told: dict[str, Any]) -> None:
    """Write the record where the part has been run, and say what it holds."""
    from analysis.part.part_folder import NUMBERS
    from analysis.record.part.part_record import write_part_record

    if _anything(told) and not (folder / "results" / NUMBERS).is_file():
        _say(day, [], told, f"Filed. The record comes with the result: `wetline run {folder}`")
        return
    found = write_part_record(folder, told["paper"], told["inch"])
    end = f"Record: {found.page}, {found.page.stem}.pdf beside it"
    _say(found.day, found.marks, told, end)


def _anything(told: dict[str, Any]) -> bool:
    """Return whether anything was said that is filed."""
    asked = {"paper", "inch", "quiet", "as_json"}
    return any(told[key] for key in told if key not in asked)


def _say(day: Day, flows: Sequence[MarkFlow], told: dict[str, Any], end: str) -> None:
    """Print what was filed and what the front did at new marks, or all of it as JSON."""
    import json
    from dataclasses import asdict

    if told["as_json"]:
        shown = asdict(day) | {"flow_at_marks": [asdict(flow) for flow in flows]}
        click.echo(json.dumps(shown, indent=2, ensure_ascii=False))
        return
    if told["quiet"]:
        return
    for text in day.findings.understood if any(told[key] for key in _MEASURED) else ():
        click.echo(f"Understood: {text}")
    known = max(len(flows) - len(told["marks"]), 0)
    for number, flow in list(enumerate(flows, 1))[known:]:
        mark = flow.mark
        click.echo(
            f"Mark {number}: {mark.kind} at x {mark.x_mm:g}, y {mark.y_mm:g} mm: {flow.words}"
        )
    click.echo(end)


def _verify(folder: Path, as_json: bool, quiet: bool) -> None:
    import json
    import sys
    from dataclasses import asdict

    from analysis.record.day.seal import changes_since

    changes = changes_since(folder)
    if as_json:
        click.echo(json.dumps([asdict(one) for one in changes], indent=2, ensure_ascii=False))
    else:
        for one in changes:
            click.echo(f"{one.how}: {one.file}")
        if not changes and not quiet:
            click.echo("Nothing has changed since the report was written.")
    if changes:
        sys.exit(1)
