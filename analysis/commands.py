"""Commands of the analysis; heavy imports stay inside the bodies so that help is quick."""

from __future__ import annotations

from pathlib import Path

import click

FOLDER = click.Path(path_type=Path, file_okay=False)
FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--media", type=FOLDER, help="Panel folder of the same stack with flow media.")
@click.option("--json", "as_json", is_flag=True, help="Print the forecast as JSON.")
@click.option("--quiet", is_flag=True, help="Do not say where the picture went.")
def forecast(folder: Path, media: Path | None, as_json: bool, quiet: bool) -> None:
    """Say whether the part fills in time, and what to change if not."""
    import json

    from analysis.answer import answer
    from analysis.forecast import forecast as work_out
    from analysis.forecast import forecast_json, forecast_lines, read_media_facts
    from analysis.levers_plot import write_levers_plot
    from analysis.panel import read_panel
    from analysis.stored import read_tracked
    from vision.files import write_json

    panel = read_panel(folder)
    tracked = read_tracked(folder)
    facts = None if media is None else read_media_facts(media, panel, answer(panel, *tracked))
    found = work_out(panel, *tracked, media=facts)
    results = folder / "results"
    write_json(results / "forecast.json", forecast_json(found))
    if found.case is not None:
        write_levers_plot(results / "levers.png", found.case)
    if as_json:
        click.echo(json.dumps(forecast_json(found), indent=2, ensure_ascii=False))
        return
    click.echo("\n".join(forecast_lines(found)))
    if found.case is not None and not quiet:
        click.echo(f"Picture: {results / 'levers.png'}", err=True)


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--area-m2", type=click.FloatRange(min=0, min_open=True), help="Area of the part.")
@click.option("--before-kg", type=click.FloatRange(min=0), help="Panel's bucket before the run.")
@click.option("--after-kg", type=click.FloatRange(min=0), help="Panel's bucket after the run.")
@click.option("--left-in-lines-kg", type=click.FloatRange(min=0), default=0.0, show_default=True)
@click.option("--line-m", type=click.FloatRange(min=0), default=0.0, help="Lines on the part, m.")
@click.option("--bore-mm", type=click.FloatRange(min=0), default=8.0, show_default=True)
@click.option("--media-m2", type=click.FloatRange(min=0), default=0.0, help="Flow media area.")
@click.option("--media-mm", type=click.FloatRange(min=0), default=1.0, show_default=True)
@click.option("--core-kg-m2", type=click.FloatRange(min=0), default=0.0, help="Core uptake.")
@click.option("--heel-kg", type=click.FloatRange(min=0), default=0.15, show_default=True)
@click.option(
    "--waste-percent", type=click.FloatRange(min=0, max=100), default=10.0, show_default=True
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
    """Say how much resin and hardener to mix, in which pots."""
    import json

    from analysis.panel import read_panel
    from analysis.quantity import Extras, panel_uptake, plan_json, plan_lines, plan_resin
    from analysis.stored import read_fill_time
    from vision.files import write_json

    panel = read_panel(folder)
    extras = Extras(
        line_m, bore_mm / 1e3, media_m2, media_mm / 1e3, 0.85, core_kg_m2, heel_kg,
        waste_percent / 100.0,
    )  # fmt: skip
    uptake = panel_uptake(panel, before_kg, after_kg, left_in_lines_kg)
    plan = plan_resin(panel, extras, uptake, area_m2, read_fill_time(folder))
    write_json(folder / "results" / "resin.json", plan_json(plan))
    if as_json:
        click.echo(json.dumps(plan_json(plan), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(plan_lines(plan)))


@click.command()
@click.argument("log", type=FILE)
@click.option("--unit", help="Unit of a column `reading`: mbar, kpa, inhg, percent, ...")
@click.option("--ambient-mbar", type=click.FloatRange(500, 1085), default=1013.25)
@click.option("--limit-mbar", type=click.FloatRange(min=0, min_open=True), default=10.0,
              show_default=True, help="Rise the shop allows ...")  # fmt: skip
@click.option("--limit-min", type=click.FloatRange(min=0, min_open=True), default=20.0,
              show_default=True, help="... in this time.")  # fmt: skip
@click.option("--volume-l", type=click.FloatRange(min=0, min_open=True),
              help="Volume of bag, lines and trap.")  # fmt: skip
@click.option("--gel-min", type=click.FloatRange(min=0, min_open=True),
              help="From lock-off to the end of gel.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def drawdown(
    log: Path,
    unit: str | None,
    ambient_mbar: float,
    limit_mbar: float,
    limit_min: float,
    volume_l: float | None,
    gel_min: float | None,
    as_json: bool,
) -> None:
    """Say from a gauge log whether the bag is tight enough."""
    import json
    from dataclasses import asdict

    from analysis.drawdown import assess_drawdown, drawdown_lines
    from analysis.gauge import UNITS, read_gauge
    from vision.errors import WetlineError
    from vision.files import plain

    if unit is not None and unit.lower() not in UNITS:
        raise WetlineError(f"--unit {unit}: must be one of {', '.join(UNITS)}")
    readings = read_gauge(log, None if unit is None else unit.lower(), ambient_mbar)
    found = assess_drawdown(readings, limit_mbar, limit_min, volume_l, gel_min)
    if as_json:
        click.echo(json.dumps(plain(asdict(found)), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(drawdown_lines(found, ambient_mbar)))
