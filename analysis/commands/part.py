"""The command `wetline part`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Measure
from vision.common.quantity import PRESSURE_MBAR, TIME_MIN, VISCOSITY_MPAS

if TYPE_CHECKING:
    from analysis.part.new_part import WatchedBy


@click.command("part")
@click.argument("part", type=click.Path(path_type=Path, exists=True))
@click.option("--cells", type=click.IntRange(20, 2000), help="Cells along the longest side.")
@click.option(
    "--step",
    "step_min",
    type=Measure(TIME_MIN, above=0),
    help="Minutes between front lines.",
)
@click.option(
    "--vacuum",
    "drive_mbar",
    type=Measure(PRESSURE_MBAR, at_least=100, at_most=1085, likely=(500, 1085)),
    help='What if: another pressure difference, as 800 or "0.8 bar".',
)
@click.option(
    "--viscosity",
    "viscosity_mpas",
    type=Measure(VISCOSITY_MPAS, at_least=5, at_most=1e5, likely=(20, 3000)),
    help='What if: another starting viscosity, as 300 or "0.3 Pa s".',
)
@click.option(
    "--search/--no-search",
    "searching",
    default=True,
    help="Say spacing and run the [search] of the file.",
)
@click.option(
    "--animation/--no-animation", "moving", default=True, help="Write the filling as a GIF."
)
@click.option("--fresh", is_flag=True, help="Solve again even if the plan has not changed.")
@click.option("--json", "as_json", is_flag=True, help="Print part.json.")
@click.option("--quiet", is_flag=True, help="No progress.")
def part(
    part: Path,
    cells: int | None,
    step_min: float | None,
    drive_mbar: float | None,
    viscosity_mpas: float | None,
    searching: bool,
    moving: bool,
    fresh: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Work out how a part fills with the planned feeds and vents, and improve the plan.

    PART is a part.toml or the folder it lies in. With --vacuum or --viscosity the answer is only
    printed.
    """
    import json
    from dataclasses import replace

    from analysis.part.answer.job import (
        advise_layouts,
        advise_spacing,
        answer_job,
        results_of,
        write_answer,
    )
    from analysis.part.answer.part_answer import part_json
    from analysis.part.answer.text import lines
    from analysis.part.plan.part_toml import read_part, with_drive

    def progress(text: str) -> None:
        if not quiet:
            click.echo(f"  {text} ...", err=True)

    job = read_part(part)
    if cells is not None:
        job = replace(job, plan=replace(job.plan, cells=cells))
    results = results_of(part)
    trial = drive_mbar is not None or viscosity_mpas is not None
    job = with_drive(job, drive_mbar, viscosity_mpas)
    answer = answer_job(job, results, progress, fresh)
    if trial:
        end = "What if: the results folder keeps the answer it had."
    else:
        if searching:
            answer = replace(answer, spacing=advise_spacing(job, answer))
        if searching and job.goal.wanted:
            answer = replace(answer, search=advise_layouts(job, results, progress))
        write_answer(answer, results, progress, moving, step_min)
        end = f"Look at {results / 'part.html'} and {results / 'part_fill.png'}"
    if as_json:
        click.echo(json.dumps(part_json(answer), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join([*lines(answer), end]))


def show_part_run(path: Path, photos: bool, as_json: bool, quiet: bool) -> None:
    """Run a part under the camera and print what was found."""
    import json

    from analysis.infusion.answer.run_job import run_part
    from analysis.infusion.answer.run_json import run_json
    from analysis.infusion.answer.run_text import lines
    from analysis.part.answer.job import results_of
    from analysis.part.part_folder import PAGE

    found = run_part(path, photos=photos, quiet=quiet or as_json)
    if as_json:
        click.echo(json.dumps(run_json(found), indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(lines(found)))
    if not quiet:
        click.echo(f"Look at {results_of(path) / PAGE}")


def begin_part(
    folder: Path,
    name: str | None,
    answers: Mapping[str, str],
    watched: tuple[str | None, str | None, str | None],
    asking: bool,
) -> tuple[list[str], list[str]]:
    """Write a new part's folder; return what is asked about its values, and the next steps.

    `watched` is what --photos, --scale and --height say.
    """
    from analysis.part.new_part import new_part, paper_of

    camera = _watched(*watched, asking)
    questions = new_part(folder, name=name, answers=answers, camera=camera)
    steps = [f"Fill in what is open in {folder / 'part.toml'}", f"wetline part {folder}"]
    if camera is None:
        return questions, steps
    paper = "" if paper_of(answers) == "A4" else f" --paper {paper_of(answers)}"
    cards = f"Print the cards and lay them: wetline sheet {folder}{paper} --write"
    photos = f"Put the photos into {folder / camera.photos}"
    if camera.is_film:
        photos = f"Put the film there: {folder / camera.photos}"
    corners = f"wetline corners {folder}"
    ways = [cards, photos] if camera.scale == "sheet" else [photos, corners]
    return questions, [*steps, *ways, f"wetline run {folder}"]


def _watched(
    photos: str | None, scale: str | None, height: str | None, asking: bool
) -> WatchedBy | None:
    """Return how a new part is looked at: as options say, or as answered now."""
    from analysis.panel.new_panel import read_answer
    from analysis.part.new_part import HEIGHT, SCALES, WatchedBy
    from vision.errors import WetlineError

    if scale is not None and scale not in SCALES:
        raise click.UsageError(f"--scale {scale} goes with a panel; of a part: {', '.join(SCALES)}")
    if asking and photos is None:
        photos = click.prompt(
            'Folder for photos of the part as it fills, as "frames" (Enter: no camera)',
            default="",
            show_default=False,
        )
    if not photos:
        if scale is not None or height is not None:
            raise click.UsageError('--scale and --height go with --photos, as "frames"')
        return None
    if asking and scale is None:
        scale = click.prompt(
            "What tells how big things are: cards round it (sheet), or its corners (outline)",
            type=click.Choice(SCALES),
            default="sheet",
        )
    if scale == "outline":
        if height is not None:
            raise click.UsageError("--height goes with cards: corners lie on the surface itself")
        return WatchedBy(photos, scale)
    if asking and height is None:
        height = click.prompt(f"{HEIGHT.question} (Enter: level)", default="", show_default=False)
    if not height:
        return WatchedBy(photos)
    try:
        line = read_answer(HEIGHT, height)
    except ValueError as error:
        raise WetlineError(f"--height {height}: {error}") from None
    return WatchedBy(photos, "sheet", float(line.partition(" = ")[2]))
