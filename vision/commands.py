"""The camera's commands. Each reads the panel folder, does one thing, and says where to look.

Tested in tests/test_whole_job.py.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from vision.scale.sheet_lines import SheetFacts

FOLDER = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
QUIET = click.option("--quiet", "-q", is_flag=True, help="No progress and no hints.")
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print results.json.")


@click.command()
@click.argument(
    "folder", type=click.Path(path_type=Path, file_okay=False), required=False, default=None
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "A3", "letter"]),
    default="A4",
    show_default=True,
    help="Paper in the printer.",
)
@click.option("--length", "length", help='Panel length along the flow, e.g. 400 or "40 in".')
@click.option("--width", "width", help="Panel width across the flow.")
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="PDF to write.  [default: FOLDER/results/scale_sheet.pdf, or scale_sheet.pdf here]",
)
def sheet(
    folder: Path | None, paper: str, length: str | None, width: str | None, output: Path | None
) -> None:
    """Write the printable scale sheet as a PDF.

    With FOLDER the panel's size is read from its panel.toml, the sheet says where the cards go,
    and the same places are written into panel.toml where it states none yet.
    """
    from vision.scale.scale_sheet import PAPERS, write_sheet
    from vision.scale.sheet_lines import card_places, write_card_lines

    facts = _sheet_facts(folder, length, width)
    marker_mm = PAPERS[paper].marker_mm
    centres = card_places(facts, marker_mm, "panel.toml" if folder is None else f"{folder.name}")
    if output is None:
        output = Path("scale_sheet.pdf") if folder is None else folder / "results/scale_sheet.pdf"
    write_sheet(output, paper, centres, facts.name)
    click.echo(f"Scale sheet: {output}")
    if folder is not None:
        for line in write_card_lines(folder, facts, marker_mm, centres):
            click.echo(f"Written into panel.toml, [scale]: {line}")
        if centres is None:
            click.echo("Give [panel] length_mm and width_mm: the sheet then says where cards go.")
        elif facts.method not in (None, "sheet"):
            click.echo(f'panel.toml takes its scale by method = "{facts.method}", not these cards.')
    click.echo("Print it at 100 % (actual size), measure the 100 mm bar, and follow its steps.")


def _sheet_facts(folder: Path | None, length: str | None, width: str | None) -> SheetFacts:
    """Panel size from panel.toml and the options, which must not say different things."""
    from vision.common.quantity import LENGTH_MM, read_quantity
    from vision.errors import WetlineError
    from vision.scale.sheet_lines import SheetFacts, read_sheet_facts

    facts = SheetFacts() if folder is None else read_sheet_facts(folder)
    for key, text in (("length_mm", length), ("width_mm", width)):
        if text is None:
            continue
        option, stated = f"--{key[:-3]}", getattr(facts, key)
        try:
            value = read_quantity(text, LENGTH_MM)
        except ValueError as error:
            raise WetlineError(f"{option} = {text}: {error}") from None
        if not value > 0:
            raise WetlineError(f'{option} = {text}: must be above 0, such as 400 or "40 in"')
        if stated is not None and abs(stated - value) > 0.5:
            raise WetlineError(
                f"{option} = {text}: panel.toml says {key} = {stated:g}: mend one of them"
            )
        facts = replace(facts, **{key: value})  # type: ignore[arg-type]
    return facts


def _length(text: str) -> float:
    """Read a length typed at a prompt, in mm or with its unit."""
    from vision.common.quantity import LENGTH_MM, read_quantity

    try:
        value = read_quantity(text, LENGTH_MM)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    if not value > 0:
        raise click.UsageError("must be above 0")
    return value


@click.command()
@FOLDER
@click.argument("photo", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--no-window", is_flag=True, help="Write a picture with a pixel grid instead.")
def corners(folder: Path, photo: Path | None, no_window: bool) -> None:
    """Read the panel's corners or tape marks off the first photo, or off PHOTO.

    Opens a window to click in where there is a display, and says what to write in panel.toml, or
    for another PHOTO what to give `wetline record`.
    Easier: open the panel with `wetline page FOLDER` and tap the corners there, which writes them
    into panel.toml itself.
    """
    from vision.errors import WetlineError
    from vision.frames.source import open_frames
    from vision.scale import corner_picker as tool

    if photo is not None:
        _corners_of(folder, photo, no_window)
        return
    setup = tool.read_setup_for_corners(folder)
    with open_frames(setup) as frames:
        frame = frames.read(0)
    if no_window or not tool.has_display():
        picture = folder / "results" / "first_frame.png"
        tool.write_grid_picture(picture, frame.image)
        click.echo(tool.how_to_read(frame.name, picture))
        return
    click.echo("Click the points the window asks for; Enter when done, Esc to leave.", err=True)
    points = tool.pick(frame.image)
    if points is None:
        raise click.Abort
    fault = tool.order_fault(points[:4])
    if fault:
        raise WetlineError(f"{frame.name}: {fault}: run `wetline corners` again")
    tape_mm = None
    if len(points) == 6:
        tape_mm = click.prompt(
            "Distance between the two tape marks", value_proc=lambda text: _length(text)
        )
    click.echo(f"Write this into {setup.shown_file} (read off {frame.name}):\n")
    click.echo(tool.scale_lines(points[:4], points[4:], tape_mm))


def _corners_of(folder: Path, photo: Path, no_window: bool) -> None:
    """Read the corners off a photo that is not of the run, for the record."""
    from vision.drawing.pictures import read_photo
    from vision.errors import WetlineError
    from vision.scale import corner_picker as tool

    image = read_photo(photo)
    if no_window or not tool.has_display():
        picture = folder / "results" / f"{photo.stem}_grid.png"
        tool.write_grid_picture(picture, image)
        click.echo(f"Read the four corners off {picture}, from the feed corner in turn, and give")
        click.echo(f'wetline record {folder} {photo} --corners "X,Y X,Y X,Y X,Y" --stage ...')
        return
    click.echo("Click the four corners from the feed corner in turn; Enter when done.", err=True)
    points = tool.pick(image)
    if points is None:
        raise click.Abort
    if len(points) != 4:
        raise WetlineError(f"{photo.name}: four corners are needed: run `wetline corners` again")
    click.echo(tool.record_line(folder, photo, points))


@click.command()
@FOLDER
@AS_JSON
@QUIET
def track(folder: Path, as_json: bool, quiet: bool) -> None:
    """Find the flow front in every frame.

    Writes front.csv, arrival.npz and the front lines on the last photo under FOLDER/results.
    """
    import json

    from vision.common.atomic_files import plain
    from vision.front.results import results_json
    from vision.tracking.job import track_folder

    job = track_folder(folder, quiet or as_json)
    if as_json:
        click.echo(json.dumps(plain(results_json(job.tracked)), indent=2, ensure_ascii=False))
        return
    for line in job.lines():
        click.echo(line)
    if not quiet:
        click.echo(f"Written: {folder / 'results'}")


@click.command()
@FOLDER
@click.argument("photo", required=False)
@click.option("--minutes", help="Times to draw, in minutes, e.g. 1,2,5,10.")
@click.option("--video", is_flag=True, help="Also write the annotated time-lapse (slower).")
@QUIET
def lines(folder: Path, photo: str | None, minutes: str | None, video: bool, quiet: bool) -> None:
    """Draw the front lines on a photo, and from straight above.

    PHOTO is first, last (as left out), the name of a frame, or the path of another photo of the
    same panel.
    """
    from vision.common.progress import bar
    from vision.drawing.pictures import write_pictures
    from vision.drawing.timelapse import NO_H264, writes_h264
    from vision.errors import WetlineError
    from vision.frames.source import open_frames
    from vision.front.results import load_run
    from vision.settings.panel_settings import read_setup

    times = None
    if minutes is not None:
        try:
            times = [float(text) * 60 for text in minutes.split(",")]
        except ValueError:
            raise WetlineError(f"--minutes {minutes}: must be numbers such as 1,2,5,10") from None
    setup = read_setup(folder)
    run = load_run(folder / "results")
    with open_frames(setup) as frames:
        watch = bar("Drawing", len(frames), quiet)
        written = write_pictures(
            setup,
            frames,
            run,
            folder / "results",
            photo=photo,
            times_s=times,
            video=video,
            progress=watch,
        )
    for path in written:
        click.echo(str(path))
    if video and not quiet and not writes_h264():
        click.echo(NO_H264, err=True)
