"""Commands of the analysis; heavy imports stay inside the bodies so that help is quick."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Measure, PanelFolder, RunFolder
from vision.common.quantity import (
    AREA_M2,
    LENGTH_MM,
    MASS_KG,
    PERCENT,
    PLAIN,
    PRESSURE_MBAR,
    TIME_MIN,
)

if TYPE_CHECKING:
    from analysis.forecast.panel_answer import PanelAnswer
    from analysis.panel.new_panel import Ask

FOLDER = PanelFolder()
FILE = click.Path(path_type=Path, dir_okay=False)
AREA = Measure(AREA_M2, above=0, at_most=500, likely=(0.01, 300))
BUCKET = Measure(MASS_KG, above=0, at_most=500, likely=(0.05, 200))
REST = Measure(MASS_KG, at_least=0, at_most=1000)
LEFT = Measure(MASS_KG, at_least=0)
LINE = Measure(PLAIN, at_least=0, at_most=200)
BORE = Measure(LENGTH_MM, at_least=1, at_most=100, likely=(2, 50))
MEDIA = Measure(AREA_M2, at_least=0, at_most=300)
MESH = Measure(LENGTH_MM, at_least=0.1, at_most=30, likely=(0.2, 15))
UPTAKE = Measure(PLAIN, at_least=0, at_most=50)
HEEL = Measure(MASS_KG, at_least=0, at_most=20)
WASTE = Measure(PERCENT, at_least=0, at_most=100)
AMBIENT = Measure(PRESSURE_MBAR, at_least=500, at_most=1085, likely=(780, 1085))


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--name", help="Name of the panel.")
@click.option("--length", help='Along the flow: mm, or with a unit such as "40 in".')
@click.option("--width", help="Across the flow.")
@click.option("--porosity", help='Open share of the stack: 0.48 or "48 %".')
@click.option("--viscosity", help='Of the mixed resin: mPa s, or "0.3 Pa s".')
@click.option("--gel-time", help='From mixing: min, or "1 h".')
@click.option("--temperature", help='In the shop: C, or "72 F".')
@click.option("--vacuum", help='Air less bag pressure in mbar, or the gauge as "27 inHg".')
@click.option("--flow-length", help="Longest way of the resin on the part, mm.")
@click.option("--flow", type=click.Choice(["edge", "point"]), default="edge", show_default=True)
@click.option(
    "--scale",
    type=click.Choice(["sheet", "corners", "tape", "checkerboard", "outline"]),
    help="What tells the camera how big things are; of a part sheet or outline.  [default: sheet]",
)
@click.option("--photos", help='Of a part: folder for its photos, as "frames", or a film.')
@click.option("--height", help="Of a part: its surface above the cards, mm.")
@click.option("--part", "is_part", is_flag=True, help="Make a part with its part.toml instead.")
@click.option(
    "--ask/--no-ask", default=None, help="Ask for the numbers.  [default: ask in a terminal]"
)
def new(
    folder: Path,
    name: str | None,
    flow: str,
    scale: str | None,
    is_part: bool,
    ask: bool | None,
    **given: str | None,
) -> None:
    """Make a folder for a new panel, or a part, with a panel.toml or part.toml to fill in.

    In a terminal it asks for the numbers; Enter leaves one open. Nothing is filled in that you
    did not say. For example: wetline new roof_7 --length 600 --width 200
    """
    from analysis.commands.part import begin_part
    from analysis.panel.new_panel import ASKS, new_panel
    from analysis.part.new_part import PART_ASKS

    asking = sys.stdin.isatty() if ask is None else ask
    photos, height = given.pop("photos"), given.pop("height")
    if is_part:
        _refuse_panel_options(given)
        answers = _answers(PART_ASKS, given, asking)
        questions, steps = begin_part(folder, name, answers, (photos, scale, height), asking)
    elif photos or height or scale == "outline":
        raise click.UsageError("--photos, --height and --scale outline go with --part")
    else:
        answers = _answers(ASKS, given, asking)
        scale = scale or "sheet"
        questions = new_panel(folder, name=name, flow=flow, scale=scale, answers=answers)
        steps = [
            f"Fill in what is open in {folder / 'panel.toml'}",
            f"Put the photos into {folder / 'frames'}",
            f"wetline run {folder}",
        ]
    for line in answers.values():
        click.echo(f"Understood: {line}")
    for text in questions:
        click.echo(f"Look at: {text}")
    for number, step in enumerate(steps, start=1):
        click.echo(f"{number}. {step}")


def _refuse_panel_options(given: Mapping[str, str | None]) -> None:
    """Refuse what a part is not asked for."""
    for name in ("flow_length", "porosity"):
        if given[name] is not None:
            raise click.UsageError(f"--{name.replace('_', '-')} goes with a panel, not with --part")


def _answers(asks: Sequence[Ask], given: Mapping[str, str | None], asking: bool) -> dict[str, str]:
    """Return the lines for what was given as options or is answered now, by field."""
    from analysis.panel.new_panel import read_answer
    from vision.errors import WetlineError

    answers = {}
    for one in asks:
        text = given[one.option.replace("-", "_")]
        if text is not None:
            try:
                answers[one.key] = read_answer(one, text)
            except ValueError as error:
                raise WetlineError(f"--{one.option} {text}: {error}") from None
        elif asking and (line := _prompted(one)):
            answers[one.key] = line
    return answers


def _prompted(ask: Ask) -> str:
    """Ask for one number until it can be read; Enter leaves it open."""
    from analysis.panel.new_panel import read_answer

    while True:
        text = click.prompt(f"{ask.question} (Enter: later)", default="", show_default=False)
        if not text.strip():
            return ""
        try:
            return read_answer(ask, text)
        except ValueError as error:
            click.echo(f"  {text}: {error}")


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--json", "as_json", is_flag=True, help="Print results.json.")
@click.option("--quiet", "-q", is_flag=True, help="No hints, only the answer.")
def fit(folder: Path, as_json: bool, quiet: bool) -> None:
    """Work out permeability, fill time and verdict from what was tracked.

    For a changed panel.toml, without looking at the photos again: wetline fit roof_7
    """
    from analysis.forecast.panel_answer import answer
    from analysis.record.record import write_record

    found = answer(folder)
    picture = folder / "results" / "front_lines.jpg"
    write_record(folder, found, picture.read_bytes() if picture.exists() else None)
    _show(found, folder, as_json, quiet)


@click.command()
@click.argument("folder", type=RunFolder())
@click.option("--pdf", is_flag=True, help="Also write report.pdf.")
@click.option("--photos", is_flag=True, help="Of a part: also draw the lines on each photo.")
@click.option("--json", "as_json", is_flag=True, help="Print results.json.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no hints, only the answer.")
def run(folder: Path, pdf: bool, photos: bool, as_json: bool, quiet: bool) -> None:
    """Do the whole job: track, fit, decide, and write the record.

    For example: wetline run roof_7 --pdf. A part with photos, by its folder or part.toml, is put
    beside its plan: planned and seen front, minutes early and late, and what the plan learns.
    """
    from analysis.part.part_folder import is_part

    if is_part(folder):
        from analysis.commands.part import show_part_run

        if pdf:
            raise click.UsageError("--pdf goes with a panel; a part's page is part_run.html")
        show_part_run(folder, photos, as_json, quiet)
        return
    if photos:
        raise click.UsageError("--photos goes with a part; for a panel: wetline lines")
    from analysis.record.panel_job import run_panel

    found = run_panel(folder, pdf=pdf, quiet=quiet or as_json)
    _show(found, folder, as_json, quiet)


def _show(found: PanelAnswer, folder: Path, as_json: bool, quiet: bool) -> None:
    import json

    from analysis.forecast.panel_json import answer_json
    from analysis.forecast.panel_text import answer_lines

    if as_json:
        click.echo(json.dumps(answer_json(found), indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(answer_lines(found)))
    if not quiet:
        click.echo(f"Record:       {folder / 'results' / 'report.html'}")


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--media", type=FOLDER, help="Panel folder of the same stack with flow media.")
@click.option("--json", "as_json", is_flag=True, help="Print the forecast as JSON.")
@click.option("--quiet", is_flag=True, help="Do not say where the picture went.")
def forecast(folder: Path, media: Path | None, as_json: bool, quiet: bool) -> None:
    """Find out whether the part fills in time, and what to change if not.

    After a run of the panel. For example: wetline forecast roof_7 --media roof_8
    """
    import json

    from analysis.forecast.forecast import compare_media, forecast_json, forecast_lines
    from analysis.forecast.forecast import forecast as work_out
    from analysis.forecast.panel_answer import answer
    from analysis.panel.panel_toml import read_panel
    from analysis.record.changes_figure import write_changes_figure
    from analysis.record.day.kept_results import keep_result
    from vision.front.results import read_tracked

    panel = read_panel(folder)
    tracked = read_tracked(folder)
    facts = None
    if media is not None:
        facts = compare_media(answer(media), answer(tracked, panel))
    found = work_out(panel, tracked, facts)
    results = folder / "results"
    keep_result(folder, "forecast", forecast_json(found))
    if found.case is not None:
        write_changes_figure(results / "levers.png", found.case)
    if as_json:
        click.echo(json.dumps(forecast_json(found), indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(forecast_lines(found)))
    if found.case is not None and not quiet:
        click.echo(f"Picture: {results / 'levers.png'}", err=True)


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--area-m2", type=AREA, help="Area of the part.")
@click.option(
    "--before-kg",
    type=BUCKET,
    help="Panel's bucket before the run.",
)
@click.option(
    "--after-kg",
    type=REST,
    help="Panel's bucket after the run.",
)
@click.option("--left-in-lines-kg", type=LEFT, default=0.0, show_default=True,
              help="Of that, resin left in the lines.")  # fmt: skip
@click.option(
    "--line-m",
    type=LINE,
    default=0.0,
    help="Lines on the part, m.",
)
@click.option("--bore-mm", type=BORE, default=8.0, show_default=True,
              help="Inner width of the lines.")  # fmt: skip
@click.option(
    "--media-m2",
    type=MEDIA,
    default=0.0,
    help="Flow media area.",
)
@click.option("--media-mm", type=MESH, default=1.0, show_default=True,
              help="Thickness of the flow media.")  # fmt: skip
@click.option("--core-kg-m2", type=UPTAKE, default=0.0, help="Core uptake.")
@click.option("--heel-kg", type=HEEL, default=0.15, show_default=True,
              help="What must stay in the bucket, so that no air is drawn.")  # fmt: skip
@click.option(
    "--waste-percent",
    type=WASTE,
    default=10.0,
    show_default=True,
    help="Added for spills and what sticks.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
def resin(
    folder: Path,
    area_m2: float | None,
    before_kg: float | None,
    after_kg: float | None,
    left_in_lines_kg: float,
    line_m: float,
    bore_mm: float,
    media_m2: float,
    media_mm: float,
    core_kg_m2: float,
    heel_kg: float,
    waste_percent: float,
    as_json: bool,
) -> None:
    """Work out how much resin and hardener to mix, in which pots.

    For example: wetline resin roof_7 --area-m2 1.5 --line-m 4
    """
    import json

    from analysis.forecast.panel_answer import answer
    from analysis.panel.panel_toml import read_settled_panel
    from analysis.record.day.kept_results import keep_result
    from analysis.shop.mixing_plan import FillTime, plan_json, plan_lines, plan_resin
    from analysis.shop.resin_quantity import Extras, panel_uptake

    panel = read_settled_panel(folder)
    extras = Extras(
        line_length_m=line_m,
        line_bore_m=bore_mm / 1e3,
        media_area_m2=media_m2,
        media_thickness_m=media_mm / 1e3,
        core_kg_m2=core_kg_m2,
        heel_kg=heel_kg,
        waste=waste_percent / 100.0,
    )
    uptake = panel_uptake(panel, before_kg, after_kg, left_in_lines_kg)
    tracked = (folder / "results" / "front.csv").exists()
    told = answer(folder, panel) if tracked else None
    fill = None
    if told is not None and told.fill is not None:
        fill = FillTime(told.fill.time_s, told.fill.time_high_s, told.verdict)
    plan = plan_resin(panel, extras, uptake, area_m2, fill)
    keep_result(folder, "resin", plan_json(plan))
    if as_json:
        click.echo(json.dumps(plan_json(plan), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(plan_lines(plan)))


@click.command()
@click.argument("log", type=FILE)
@click.option("--unit", help="Unit of a column `reading`: mbar, kpa, inhg, percent, ...")
@click.option(
    "--ambient-mbar",
    type=AMBIENT,
    help="Air pressure in the shop.  [default: 1013, and left open for panel.toml]",
)
@click.option("--limit-mbar", type=Measure(PRESSURE_MBAR, above=0, at_most=200), default=10.0,
              show_default=True, help="Rise the shop allows ...")  # fmt: skip
@click.option("--limit-min", type=Measure(TIME_MIN, above=0, at_most=1440), default=20.0,
              show_default=True, help="... in this time.")  # fmt: skip
@click.option("--volume-l", type=Measure(PLAIN, above=0),
              help="Volume of bag, lines and trap.")  # fmt: skip
@click.option("--gel-min", type=Measure(TIME_MIN, above=0, at_most=2880),
              help="From lock-off to the end of gel.")  # fmt: skip
@click.option("--panel", "folder", type=FOLDER,
              help="Panel or part folder to keep it in.  [default: that of the log]")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def drawdown(
    log: Path,
    unit: str | None,
    ambient_mbar: float | None,
    limit_mbar: float,
    limit_min: float,
    volume_l: float | None,
    gel_min: float | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Find out from a gauge log whether the bag is tight enough.

    LOG is a table with time_min and bag_mbar. For example: wetline drawdown gauge.csv
    """
    import json
    from dataclasses import asdict

    from analysis.panel.tables.gauge_units import STANDARD_MBAR, UNITS
    from analysis.record.day.kept_results import keep_drawdown
    from analysis.shop.drawdown import assess_drawdown
    from analysis.shop.drawdown_text import drawdown_lines
    from analysis.shop.gauge_log import read_gauge
    from vision.common.atomic_files import plain
    from vision.errors import WetlineError

    if unit is not None and unit.lower() not in UNITS:
        raise WetlineError(f"--unit {unit}: must be one of {', '.join(UNITS)}")
    air_mbar = STANDARD_MBAR if ambient_mbar is None else ambient_mbar
    readings = read_gauge(log, None if unit is None else unit.lower(), air_mbar)
    found = assess_drawdown(readings, limit_mbar, limit_min, volume_l, gel_min)
    keep_drawdown(log, readings, found, folder)
    if as_json:
        click.echo(json.dumps(plain(asdict(found)), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(drawdown_lines(found, ambient_mbar, readings.unit)))
