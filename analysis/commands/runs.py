"""Commands on several runs; heavy imports stay inside the bodies so that help is quick.

Tested in tests/analysis/runs/repeat/test_job.py and tests/analysis/runs/export/test_job.py.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analysis.commands.options import Measure
from vision.common.quantity import LENGTH_MM, PERCENT
from vision.errors import WetlineError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.runs.repeat.judged import Judged

FOLDER = click.Path(path_type=Path, file_okay=False)
LENGTH = Measure(LENGTH_MM, at_least=20, at_most=100_000, likely=(50, 20_000))
SCATTER = Measure(PERCENT, at_least=1, at_most=100, likely=(1, 60))
SHARE = Measure(PERCENT, at_least=50, at_most=99.9)


@click.command()
@click.argument("folders", type=FOLDER, nargs=-1, required=True)
@click.option(
    "--by",
    "wish",
    type=click.Choice(["margin", "surface", "resin"]),
    default="margin",
    show_default=True,
    help="What counts most: time to gel, the demoulded surface, or little resin.",
)
@click.option(
    "--length-mm", type=LENGTH, help="Flow length to compare at.  [default: the longest stated]"
)
@click.option(
    "--scatter-percent",
    type=SCATTER,
    help="How like panels of your shop scatter in permeability.  [default: 12]",
)
@click.option(
    "--to",
    "place",
    type=FOLDER,
    default="comparison",
    show_default=True,
    help="Folder for the page, the picture and the table.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the comparison as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="Do not say where the page went.")
def compare(
    folders: tuple[Path, ...],
    wish: str,
    length_mm: float | None,
    scatter_percent: float | None,
    place: Path,
    as_json: bool,
    quiet: bool,
) -> None:
    """Put panels side by side, and find the best set-up for your wish.

    FOLDERS are panels that were run. Panels whose [stack] says the same and bears the same name
    count as repeats of one set-up. What is noise and what is real is said. FOLDERS may all be
    runs of one part instead.
    """
    from analysis.runs.parts.part_facts import all_parts

    if all_parts(folders):
        if length_mm is not None or wish != "margin":
            raise WetlineError("--by, --length-mm: are for panels: leave them out for parts")
        _compare_parts(folders, scatter_percent, place, as_json, quiet)
        return

    from analysis.runs.compare.comparison import compare_folders
    from analysis.runs.compare.store import comparison_json, write_comparison
    from analysis.runs.compare.text import comparison_lines

    found = compare_folders(
        folders,
        wish,
        None if length_mm is None else length_mm / 1000.0,
        None if scatter_percent is None else scatter_percent / 100.0,
    )
    page = write_comparison(place, found)
    _tell(comparison_json(found) if as_json else None, comparison_lines(found), page, quiet)


def _compare_parts(
    folders: tuple[Path, ...], scatter: float | None, place: Path, as_json: bool, quiet: bool
) -> None:
    """Put runs of one part side by side."""
    from analysis.runs.parts.parts_beside import compare_part_folders
    from analysis.runs.parts.parts_store import parts_json, write_parts
    from analysis.runs.parts.parts_text import parts_lines

    found = compare_part_folders(folders, None if scatter is None else scatter / 100.0)
    page = write_parts(place, found)
    _tell(parts_json(found) if as_json else None, parts_lines(found), page, quiet)


def _tell(shaped: Any, lines: Sequence[str], page: Path, quiet: bool = False) -> None:
    """Print an answer: as JSON where it is given so, else in lines, and where the page went."""
    import json

    if shaped is not None:
        click.echo(json.dumps(shaped, indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(lines))
    if not quiet:
        click.echo(f"Page: {page}")


@click.command()
@click.argument("good", type=FOLDER, nargs=-1, required=True)
@click.option("--judge", "judged", type=FOLDER, help="Folder of the run to hold against the band.")
@click.option(
    "--coverage-percent",
    type=SHARE,
    default=95.0,
    show_default=True,
    help="Share of good runs that the band holds ...",
)
@click.option(
    "--confidence-percent",
    type=SHARE,
    default=90.0,
    show_default=True,
    help="... with this confidence.",
)
@click.option(
    "--to",
    "place",
    type=FOLDER,
    help="Folder for page and pictures.  [default: results of the run judged, or good_runs]",
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="Print the answer in one line.")
@click.pass_context
def repeat(
    ctx: click.Context,
    good: tuple[Path, ...],
    judged: Path | None,
    coverage_percent: float,
    confidence_percent: float,
    place: Path | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Find out whether a run went like the good ones did.

    GOOD are folders of good runs, of one set-up or of one part, in the order in which they were
    made. The exit code is 0 where
    the run is like them (or none is judged), 3 where it is not, 4 where that cannot be told.
    """
    from analysis.runs.parts.part_facts import all_parts
    from analysis.runs.repeat.store import repeat_json
    from analysis.runs.repeat.text import head, repeat_lines

    shares = (coverage_percent / 100.0, confidence_percent / 100.0)
    default = Path("good_runs") if judged is None else judged / "results"
    of_parts = all_parts([*good, *([] if judged is None else [judged])])
    judge = _judge_parts if of_parts else _judge_panels
    found, page = judge(good, judged, shares, place or default)
    shaped = repeat_json(found) if as_json else None
    _tell(shaped, [head(found)] if quiet else repeat_lines(found), page, quiet)
    ctx.exit(found.exit_code)


def _judge_panels(
    good: tuple[Path, ...], judged: Path | None, shares: tuple[float, float], place: Path
) -> tuple[Judged, Path]:
    """Hold a panel's run against good ones, and write the page."""
    from analysis.runs.repeat.job import judge_folders
    from analysis.runs.repeat.store import write_repeat

    found = judge_folders(good, judged, *shares)
    return found, write_repeat(place, found)


def _judge_parts(
    good: tuple[Path, ...], judged: Path | None, shares: tuple[float, float], place: Path
) -> tuple[Judged, Path]:
    """Hold a part's run against good ones of the same part, and write the page."""
    from analysis.runs.part_repeat.job import judge_part_folders
    from analysis.runs.part_repeat.store import write_parts_repeat

    found = judge_part_folders(good, judged, *shares)
    return found, write_parts_repeat(place, found)


@click.command()
@click.argument("folders", type=FOLDER, nargs=-1, required=True)
@click.option(
    "--to",
    "place",
    type=FOLDER,
    help="Folder for the files.  [default: results/data of the panel, or data]",
)
@click.option("--quiet", "-q", is_flag=True, help="Do not name the files.")
def data(folders: tuple[Path, ...], place: Path | None, quiet: bool) -> None:
    """Write everything a panel or part measured as tables, JSON, NumPy and TIFF.

    FOLDERS are panels that were run, or parts; several share their tables, each row with its name.
    """
    from analysis.runs.export.job import export_folders
    from analysis.runs.parts.part_data import export_parts
    from analysis.runs.parts.part_facts import all_parts

    export = export_parts if all_parts(folders) else export_folders
    default = folders[0] / "results" / "data" if len(folders) == 1 else Path("data")
    for path in export(folders, place or default):
        if not quiet:
            click.echo(path)
