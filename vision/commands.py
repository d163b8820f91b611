"""The camera's commands. Each reads the panel folder, does one thing, and says where to look."""

from __future__ import annotations

from pathlib import Path

import click

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

    With FOLDER the panel's size is read from its panel.toml, and the sheet says where the
    cards go.
    """
    from vision.scale.scale_sheet import write_sheet

    sizes, name = _sheet_facts(folder, length, width)
    if output is None:
        output = Path("scale_sheet.pdf") if folder is None else folder / "results/scale_sheet.pdf"
    write_sheet(output, paper, sizes[0], sizes[1], name)
    click.echo(f"Scale sheet: {output}")
    click.echo("Print it at 100 % (actual size), measure the 100 mm bar, and follow its steps.")


def _sheet_facts(
    folder: Path | None, length: str | None, width: str | None
) -> tuple[tuple[float | None, float | None], str]:
    """Panel size from the options, else from panel.toml (whose other tables may be unwritten)."""
    from vision.common.toml_table import Table, length_mm, read_toml
    from vision.errors import WetlineError

    sizes: list[float | None] = [None, None]
    name = ""
    if folder is not None:
        file = folder / "panel.toml"
        panel = Table.of(file, read_toml(file), "panel")
        sizes = [panel.length("length_mm", above=0), panel.length("width_mm", above=0)]
        name = panel.text("name", "") or ""
    for i, (option, text) in enumerate((("--length", length), ("--width", width))):
        if text is None:
            continue
        sizes[i] = length_mm(text)
        if sizes[i] is None or not (sizes[i] or 0) > 0:
            raise WetlineError(f'{option} = {text}: must be a length, such as 400 or "40 in"')
    return (sizes[0], sizes[1]), name


@click.command()
@FOLDER
@click.option("--no-window", is_flag=True, help="Write a picture with a pixel grid instead.")
def corners(folder: Path, no_window: bool) -> None:
    """Read the panel's corners or tape marks off the first photo.

    Opens a window to click in where there is a display, and says what to write in panel.toml.
    """
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
        tape_mm = click.prompt("Distance between the two tape marks in mm", type=float)
    click.echo(f"Write this into {setup.shown_file} (read off {frame.name}):\n")
    click.echo(tool.scale_lines(points[:4], points[4:], tape_mm))


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
