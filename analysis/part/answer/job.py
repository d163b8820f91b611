"""The whole job on one part.toml: solve or re-label, write the files, search for a better plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.part.answer import figures as part_plots
from analysis.part.answer.html import page
from analysis.part.answer.part_results import (
    Answer,
    clock_of,
    in_time,
    lines,
    minutes,
    opening_impulses,
    shape_answer,
    total_interval,
)
from analysis.part.answer.store import NAME, fingerprint, load_fill, save_fill
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartPlan
from analysis.part.search.layout_score import Ranked
from analysis.part.search.search import search, with_layout
from analysis.part.search.spacing import greatest_spacing
from vision.common.atomic_files import plain, replace_file, write_json, write_text

LAYOUT_CELLS = 100
LAYOUT_STEPS = 24
Progress = Callable[[str], None]


def results_of(path: Path) -> Path:
    """Return the folder for what is written about a part.toml."""
    folder = path if path.is_dir() else path.parent
    own = path.is_dir() or path.name == "part.toml"
    return folder / "results" if own else folder / "results" / path.stem


def answer_job(job: PartJob, results: Path, progress: Progress, fresh: bool = False) -> Answer:
    """Answer a job; a filling kept from before is used again if the plan is the same.

    Parameters
    ----------
    job : PartJob
        What part.toml says.
    results : Path
        Where the filling is kept.
    progress : callable
        Told what goes on.
    fresh : bool
        Solve even so.
    """
    opens_at = opening_impulses(job.plan, job.impulse)
    mark = fingerprint(job.plan, opens_at)
    kept = None if fresh else load_fill(results / NAME, job.plan, mark)
    if kept is None:
        fill = fill_plan(job.plan, opens_at, progress=progress)
        ends = total_interval(job.plan, opens_at, fill, progress)
        save_fill(results / NAME, fill, ends, mark)
    else:
        progress("same part as before: only vacuum and resin are worked out anew")
        fill, ends = kept
    return in_time(fill, clock_of(job), *ends)


def write_answer(
    job: PartJob,
    answer: Answer,
    results: Path,
    progress: Progress,
    moving: bool,
    step_min: float | None,
) -> dict[str, Any]:
    """Write part.json, fill_time.npz, the pictures and the page; give part.json's content."""
    record = shape_answer(job, answer)
    grid = answer.fill.links.grid

    def write_map(part: Path) -> None:
        with part.open("wb") as file:
            np.savez_compressed(file, time_s=answer.time_s, x_mm=grid.x_mm, y_mm=grid.y_mm)

    replace_file(results / "fill_time.npz", write_map)
    progress("drawing")
    part_plots.save(
        part_plots.fill_picture(job.plan, answer, step_min),
        [results / "part_fill.png", results / "part_fill.svg"],
    )
    part_plots.save(part_plots.margin_picture(job.plan, answer), [results / "part_margin.png"])
    part_plots.save(part_plots.resin_picture(job.plan, answer), [results / "part_resin.png"])
    if moving:
        progress("drawing the animation")
        part_plots.animation(job.plan, answer, results / "part_fill.gif")
    write_json(results / "part.json", record)
    return record


def write_page(
    job: PartJob, answer: Answer, record: dict[str, Any], results: Path, layouts: Sequence[str] = ()
) -> None:
    """Write the page for the record."""
    pictures = [
        (results / "part_fill.png", "Front lines by the minute"),
        (results / "part_margin.png", "Working time left when each spot wets"),
        (results / "part_resin.png", "Resin taken in, and how fast"),
    ]
    for k, caption in enumerate(layouts, start=1):
        pictures.append((results / f"layout_{k}.png", f"Search, layout {caption}"))
    write_text(results / "part.html", page(record, lines(job, answer), pictures))


def spacing_lines(job: PartJob, answer: Answer) -> tuple[list[str], list[dict[str, Any]]]:
    """Say how far apart feed lines may be."""
    working = answer.clock.working_s
    if working is None or working <= 0:
        return ["Spacing     no working time is known, so none can be said"], []
    impulse = float(job.impulse.at(working))
    found = greatest_spacing(job.plan, job.wish, impulse)
    text, records = [], []
    for one in found:
        head = f"Spacing     lines along {one.along}: at most {one.plain_mm:.0f} mm apart"
        if one.lines is None:
            text.append(f"{head}; on this part a dozen are not enough")
        else:
            text.append(
                f"{head} on a plain sheet; this part fills in working time with {one.lines}, "
                f"{one.spacing_mm:.0f} mm apart"
            )
        seconds = None if one.total is None else float(job.impulse.time_of(one.total))
        records.append({**asdict(one), "time_s": seconds})
    return text, plain(records)


def search_job(
    job: PartJob, answer: Answer, results: Path, progress: Progress
) -> tuple[list[str], dict[str, Any]]:
    """Search for better layouts, draw each, and say the ranking in lines."""
    wish = job.wish
    target = None if wish.target_s is None else float(job.impulse.at(wish.target_s))
    ranked = search(job.plan, wish, target, progress)
    text: list[str] = []
    drawn = []
    for k, one in enumerate(ranked, start=1):
        progress(f"drawing layout {k} of {len(ranked)}")
        plan, shown = fill_layout(job, one)
        drawn.append((one, plan, shown))
    # A layout that traps air is never better than one that does not.
    drawn.sort(key=lambda row: len(row[2].fill.trapped) > 0)
    rows = []
    goal = f"near {minutes(wish.target_s)}" if target is not None else wish.wish
    text.append(f"Search      {wish.feeds} feed(s), {wish.kind}, wish: {goal}")
    for k, (one, plan, shown) in enumerate(drawn, start=1):
        time_s = float(job.impulse.time_of(one.total))
        path = results / f"layout_{k}.png"
        part_plots.save(part_plots.fill_picture(plan, shown), [path])
        trapped = len(shown.fill.trapped)
        where = "; ".join(_where(place.points_mm) for place in one.layout)
        gel = answer.clock.gel_s
        late = "; gels first" if gel is not None and time_s > gel else ""
        air = f"traps air in {trapped} place(s)" if trapped else _vents(one)
        text.append(f"  {k}. all wet {minutes(time_s)}{late}; {air}; {where}")
        rows.append({**_row(one, time_s), "trapped": trapped})
    text.append(
        "  Feeds here all open at once. A feed line on the show side can print through; faster "
        "filling can cost surface finish."
    )
    return text, plain({"layouts": rows, "wish": goal})


def _vents(one: Ranked) -> str:
    return (
        "vents wet last"
        if one.vent_lag < 0.01
        else f"last spot off the vents (x {one.last_mm[0]:.0f}, y {one.last_mm[1]:.0f})"
    )


def _where(points: Any) -> str:
    return " to ".join(f"({x:.0f}, {y:.0f})" for x, y in points)


def _row(one: Ranked, time_s: float) -> dict[str, Any]:
    return {
        "feeds": [{"points_mm": p.points_mm, "radius_mm": p.radius_mm} for p in one.layout],
        "fill_time_s": time_s,
        "fill_impulse": one.total,
        "last_spot_mm": one.last_mm,
        "vent_lag": one.vent_lag,
    }


def fill_layout(job: PartJob, one: Ranked) -> tuple[PartPlan, Answer]:
    """Fill the part with a layout, on a grid good enough for a picture."""
    plan = replace(with_layout(job.plan, one.layout), cells=min(job.plan.cells, LAYOUT_CELLS))
    fill = fill_plan(plan, steps=LAYOUT_STEPS)
    lows = [s.low for s in plan.stacks]
    highs = [s.high for s in plan.stacks]
    ends = one.total / max(highs), one.total / min(lows)
    return plan, in_time(replace(fill, total=one.total), clock_of(job), *ends)
