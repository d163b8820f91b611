"""Commands of the camera that take a panel or a part: cards, corners, front lines on photos."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Measure, RunFolder
from vision.common.quantity import LENGTH_MM

if TYPE_CHECKING:
    from vision.scale.sheet_lines import SheetFacts

FOLDER = click.argument("folder", type=RunFolder())
QUIET = click.option("--quiet", "-q", is_flag=True, help="No progress and no hints.")


@click.command()
@click.argument("folder", type=RunFolder(), required=False, default=None)
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
@click.option(
    "--clear",
    "clear_mm",
    type=Measure(LENGTH_MM, at_least=0, at_most=5000),
    help="Of a part: gap from outline to cards.  [default: 60, for bag and tape]",
)
@click.option(
    "--write", "writing", is_flag=True, help="Of a part: write the places into part.toml."
)
def sheet(
    folder: Path | None,
    paper: str,
    length: str | None,
    width: str | None,
    output: Path | None,
    clear_mm: float | None,
    writing: bool,
) -> None:
    """Write the printable scale sheet as a PDF.

    With FOLDER the panel's size is read from its panel.toml, the sheet says where the cards go,
    and the same places are written into panel.toml where it states none yet. Of a part (its folder
    or part.toml) the cards go around its outline, and --write writes their places.
    """
    from analysis.part.part_folder import is_part
    from vision.scale.scale_sheet import write_sheet
    from vision.scale.sheet_lines import PAPERS, card_places, write_card_lines

    if folder is not None and is_part(folder):
        if length is not None or width is not None:
            raise click.UsageError("--length and --width go with a panel: a part has its outline")
        _part_sheet(folder, paper, output, clear_mm, writing)
        return
    if clear_mm is not None or writing:
        raise click.UsageError("--clear and --write go with a part")
    facts = _sheet_facts(folder, length, width)
    marker_mm = PAPERS[paper].marker_mm
    centres = card_places(facts, marker_mm, "panel.toml" if folder is None else f"{folder.name}")
    if output is None:
        output = Path("scale_sheet.pdf") if folder is None else folder / "results/scale_sheet.pdf"
    write_sheet(output, paper, centres, facts.name)
    click.echo(f"Scale sheet: {output}")
    if folder is not None:
        for line in write_card_lines(folder / "panel.toml", facts, marker_mm, centres):
            click.echo(f"Written into panel.toml, [scale]: {line}")
        if centres is None:
            click.echo("Give [panel] length_mm and width_mm: the sheet then says where cards go.")
        elif facts.method not in (None, "sheet"):
            click.echo(f'panel.toml takes its scale by method = "{facts.method}", not these cards.')
    click.echo("Print it at 100 % (actual size), measure the 100 mm bar, and follow its steps.")


def _part_sheet(
    folder: Path, paper: str, output: Path | None, clear_mm: float | None, writing: bool
) -> None:
    """Write the sheet of a part, and say or write where its cards go."""
    from analysis.infusion.seen.part_cards import SMALL_CARDS, read_cards, write_part_sheet
    from analysis.part.answer.job import results_of
    from vision.scale.sheet_lines import CLEAR_MM, write_card_lines

    cards = read_cards(folder, paper, CLEAR_MM if clear_mm is None else clear_mm)
    output = results_of(folder) / "scale_sheet.pdf" if output is None else output
    write_part_sheet(output, paper, cards)
    click.echo(f"Scale sheet: {output}")
    if cards.facts.method not in (None, "sheet"):
        method = cards.facts.method
        click.echo(f'{cards.file.name} takes its scale by method = "{method}", not these cards.')
    elif writing:
        lines = write_card_lines(cards.file, cards.facts, cards.marker_mm, cards.centres_mm)
        for line in lines:
            click.echo(f"Written into {cards.file.name}, [scale]: {line}")
        if not lines:
            click.echo(f"{cards.file.name} states the cards already: the sheet shows those places.")
    else:
        click.echo(f"For {cards.file.name} (or run again with --write):\n\n[scale]")
        click.echo("\n".join(cards.lines) + "\n")
    if cards.small:
        click.echo(SMALL_CARDS)
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
@click.option("--points", help='Of a part: corners read by hand, as "120,80 900,85 - 118,610".')
@click.option("--yes", is_flag=True, help="Of a part: write the points without asking.")
def corners(
    folder: Path, photo: Path | None, no_window: bool, points: str | None, yes: bool
) -> None:
    """Read a panel's corners or tape marks, or a part's corners, off the first photo or PHOTO.

    Opens a window to click in where there is a display, and says what to write in panel.toml, or
    for another PHOTO what to give `wetline record`. Of a part, its plan leads: each corner is
    marked on it in turn, the plan is drawn back on the photo, and the points go into part.toml.
    Easier: open the panel with `wetline page FOLDER` and tap the corners there, which writes them
    into panel.toml itself.
    """
    from analysis.part.part_folder import is_part

    if is_part(folder):
        _part_corners(folder, None if photo is None else str(photo), no_window, points, yes)
    elif points is not None or yes:
        raise click.UsageError("--points and --yes go with a part")
    elif photo is not None:
        _corners_of(folder, photo, no_window)
    else:
        _panel_corners(folder, no_window)


def _part_corners(
    folder: Path, photo: str | None, no_window: bool, points: str | None, yes: bool
) -> None:
    """Let the user tap a part's corners, led by its plan, and write them into part.toml."""
    from analysis.infusion.seen import tap_outline as tool
    from analysis.part.answer.job import results_of
    from vision.parts.tapping import tap_window
    from vision.scale.corner_picker import has_display

    tapping, results = tool.begin(folder, photo), results_of(folder)
    windows = points is None and not no_window and has_display()
    if points is None and not windows:
        click.echo("\n".join(tool.how_to_tap(tapping, folder, results)))
        return
    if points is None:
        click.echo(
            "Tap the corners that the plan marks; Enter when enough, Esc to leave.", err=True
        )
        taps = tap_window.tap(tapping.photo.image, tapping.camera.shape, tapping.asked)
        if taps is None:
            raise click.Abort
    else:
        tapping = replace(tapping, said="--points")
        taps = tool.read_taps(points, tapping)
    found = tool.tapped(tapping, taps)
    picture = tool.write_drawn(found, results)
    for warning in found.warnings:
        click.echo(f"Look at: {warning}")
    click.echo(f"Drawn back on {tapping.photo.name}: {picture} (places to {found.error_mm:.1f} mm)")
    sure = yes or (tap_window.confirm(found.drawn) if windows else False)
    name = found.camera.file.name
    if not sure and not click.confirm(
        f"Does the outline lie on the part, and each feed where it is? Write it into {name}?"
    ):
        click.echo(f"{name} stays as it was. Tap again: wetline corners {folder}")
        return
    for line in tool.write_scale(found):
        click.echo(f"Written into {name}, [scale]: {line}")


def _panel_corners(folder: Path, no_window: bool) -> None:
    """Read the corners of a panel off its first photo."""
    from vision.errors import WetlineError
    from vision.frames.source import open_frames
    from vision.scale import corner_picker as tool

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
@click.argument("photo", required=False)
@click.option("--minutes", help="Times to draw, in minutes, e.g. 1,2,5,10.")
@click.option("--video", is_flag=True, help="Also write the annotated time-lapse (slower).")
@QUIET
def lines(folder: Path, photo: str | None, minutes: str | None, video: bool, quiet: bool) -> None:
    """Draw the front lines on a photo, and from straight above.

    PHOTO is first, last (as left out), the name of a frame, or the path of another photo of the
    same panel. Of a part that was run, planned lines are dashed and seen ones solid, on one of its
    own photos.
    """
    from analysis.part.part_folder import is_part

    times = None if minutes is None else _times_s(minutes)
    if is_part(folder):
        from analysis.infusion.kept.lines_at_times import write_lines

        if video:
            raise click.UsageError("--video goes with a panel")
        click.echo(str(write_lines(folder, photo, times)))
        return
    _panel_lines(folder, photo, times, video, quiet)


def _times_s(minutes: str) -> list[float]:
    """Read the times of `--minutes`, in seconds; "0,5" is most likely half a minute."""
    from vision.errors import WetlineError

    try:
        times = [float(text) * 60 for text in minutes.split(",")]
    except ValueError:
        times = [math.nan]
    if not all(0 < time_s < math.inf for time_s in times):
        raise WetlineError(
            f"--minutes {minutes}: must be numbers above 0 such as 0.5,1,2,5: a comma parts them, "
            "decimals have a point"
        )
    return times


def _panel_lines(
    folder: Path, photo: str | None, times: list[float] | None, video: bool, quiet: bool
) -> None:
    """Draw the pictures of a panel that was tracked."""
    from vision.common.progress import bar
    from vision.drawing.front_lines import time_label
    from vision.drawing.overlay import rough_note
    from vision.drawing.pictures import lines_of, write_pictures
    from vision.drawing.timelapse import NO_H264, writes_h264
    from vision.frames.source import open_frames
    from vision.front.results import load_run
    from vision.settings.panel_settings import read_setup

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
    late = [time_label(time_s) for time_s in times or [] if time_s > run.arrival.last_s]
    if late:
        last = time_label(run.arrival.last_s)
        click.echo(f"Look at: no line at {', '.join(late)}: the last photo is at {last}")
    rough = rough_note(lines_of(run.arrival, setup.flow, times))
    if rough:
        click.echo(f"Look at: lines marked {rough}")
    if video and not quiet and not writes_h264():
        click.echo(NO_H264, err=True)
