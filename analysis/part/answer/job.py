"""The whole job on one part.toml: solve or re-label, write the files, search for a better plan.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.part.answer import figures
from analysis.part.answer.clock import opening_impulses
from analysis.part.answer.doubts import PERMEABILITY, Ends, joined_ends, plan_ends
from analysis.part.answer.html import page
from analysis.part.answer.part_answer import (
    PartAnswer,
    part_json,
    put_in_time,
)
from analysis.part.answer.store import NAME, fingerprint, load_fill, save_fill
from analysis.part.answer.text import layout_line
from analysis.part.flow.filling import fill_plan
from analysis.part.plan.part_toml import PartJob, read_part
from analysis.part.search.advice import FeedAdvice, LayoutAdvice, SearchAdvice, SpacingAdvice
from analysis.part.search.layout_score import Ranked
from analysis.part.search.search import search, with_layout
from analysis.part.search.spacing import greatest_spacing
from analysis.part.search.vents import with_vents_where_air_ends
from vision.common.atomic_files import replace_file, sweep_leftovers, write_json, write_text
from vision.common.rounding import minutes

LAYOUT_CELLS = 100
LAYOUT_STEPS = 24
WIDER = 3  # times as many layouts are filled where vents are fixed, to find some that trap none
Progress = Callable[[str], None]


def quiet(text: str) -> None:
    """Take a word of progress and do nothing with it."""


def fill_part(part: Path | str | PartJob, progress: Progress = quiet) -> PartAnswer:
    """Return how a part fills with the feeds and vents of its part.toml; nothing is written.

    Parameters
    ----------
    part : Path, str or PartJob
        A part.toml, the folder it lies in, or what `read_part` made of it.
    progress : callable
        Told what goes on.

    Returns
    -------
    PartAnswer
        ``fill_time_s`` with its 95 % interval, ``verdict``, ``trapped`` air, and
        ``arrival_s``: seconds at each cell.

    Raises
    ------
    WetlineError
        If the file is missing or a value cannot be true, with the mend; if a feed misses the
        part or a piece of it cannot be reached.

    Notes
    -----
    One obstacle problem per step of the driving impulse (Elliott and Janovsky, Proc. R. Soc.
    Edinburgh A 88, 93-107, 1981).

    Examples
    --------
    >>> found = fill_part("sample_frames/part_cover")
    >>> found.fill_time_low_s < found.fill_time_s < found.fill_time_high_s
    True
    """
    job = part if isinstance(part, PartJob) else read_part(Path(part))
    opens_at = opening_impulses(job.plan, job.impulse)
    fill = fill_plan(job.plan, opens_at, progress=progress)
    return put_in_time(job, fill, plan_ends(job.plan, opens_at, fill, progress))


def results_of(path: Path) -> Path:
    """Return the folder for what is written about a part.toml."""
    folder = path if path.is_dir() else path.parent
    own = path.is_dir() or path.name == "part.toml"
    return folder / "results" if own else folder / "results" / path.stem


def answer_job(job: PartJob, results: Path, progress: Progress, fresh: bool = False) -> PartAnswer:
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
    if kept is not None:
        progress("same part as before: only vacuum and resin are worked out anew")
        return put_in_time(job, *kept)
    fill = fill_plan(job.plan, opens_at, progress=progress)
    ends = plan_ends(job.plan, opens_at, fill, progress)
    save_fill(results / NAME, fill, ends, mark)
    return put_in_time(job, fill, ends)


def write_answer(
    answer: PartAnswer, results: Path, progress: Progress, moving: bool, step_min: float | None
) -> None:
    """Write part.json, fill_time.npz, the pictures and the page."""
    links = answer.filling.links
    sweep_leftovers(results)

    def write_map(part: Path) -> None:
        with part.open("wb") as file:
            np.savez_compressed(
                file,
                time_s=answer.arrival_s,
                x_mm=answer.x_mm,
                y_mm=answer.y_mm,
                trapped=links.field(answer.filling.in_trapped.astype(float)) == 1.0,
            )

    replace_file(results / "fill_time.npz", write_map)
    progress("drawing")
    figures.save(
        figures.fill_picture(answer, step_min),
        [results / "part_fill.png", results / "part_fill.svg"],
    )
    figures.save(figures.margin_picture(answer), [results / "part_margin.png"])
    figures.save(figures.resin_picture(answer), [results / "part_resin.png"])
    if moving:
        progress("drawing the animation")
        figures.animation(answer, results / "part_fill.gif")
    write_json(results / "part.json", part_json(answer))
    pictures = [
        (results / "part_fill.png", "Front lines by the minute"),
        (results / "part_margin.png", "Working time left when each spot wets"),
        (results / "part_resin.png", "Resin taken in, and how fast"),
    ]
    for k, layout in enumerate(answer.search.layouts if answer.search else (), start=1):
        caption = f"Search, layout {k}. {layout_line(layout, answer.gel_time_s)}"
        pictures.append((layout_picture(results, k), caption))
    write_text(results / "part.html", page(answer, pictures))


def layout_picture(results: Path, number: int) -> Path:
    """Return where the picture of a layout of the search is written."""
    return results / f"layout_{number}.png"


def advise_spacing(job: PartJob, answer: PartAnswer) -> tuple[SpacingAdvice, ...]:
    """Return how far apart feed lines may be; nothing where no working time is known.

    The low end of permeability is in the spacing; the other doubts are taken off the impulse that
    the working time gives.
    """
    working = answer.working_time_s
    if working is None or working <= 0:
        return ()
    _, high = joined_ends(1.0, answer.doubts)
    slow_k = next((one.high for one in answer.doubts if one.name == PERMEABILITY), 1.0)
    found = greatest_spacing(job.plan, job.goal, float(job.impulse.at(working)) * slow_k / high)
    return tuple(
        SpacingAdvice(
            one.along,
            one.plain_mm,
            one.lines,
            one.spacing_mm,
            one.total,
            None if one.total is None else float(job.impulse.time_of(one.total)),
        )
        for one in found
    )


def advise_layouts(job: PartJob, results: Path, progress: Progress) -> SearchAdvice:
    """Search for better layouts and draw each; the best comes first.

    A layout that traps air under the vents as planned gets vents where its air ends, unless
    [search] says that vents are fixed; one that still traps air comes after all that do not.
    """
    goal = job.goal
    target = None if goal.target_s is None else float(job.impulse.at(goal.target_s))
    fixed = goal.vents == "fixed"
    wider = replace(goal, keep=WIDER * goal.keep) if fixed else goal
    ranked = search(job.plan, wider, target, progress)
    filled = []
    for k, one in enumerate(ranked, start=1):
        progress(f"filling layout {k} of {len(ranked)}")
        filled.append((one, fill_layout(job, one, move_vents=not fixed)))
    filled.sort(key=lambda pair: len(pair[1].trapped) > 0)
    filled = filled[: goal.keep]
    for k, (_, answer) in enumerate(filled, start=1):
        figures.save(figures.fill_picture(answer), [layout_picture(results, k)])
    return SearchAdvice(
        tuple(_layout(job, one, answer) for one, answer in filled),
        f"near {minutes(goal.target_s or 0.0)}" if target is not None else goal.wish,
    )


def _layout(job: PartJob, one: Ranked, answer: PartAnswer) -> LayoutAdvice:
    """Return what is kept of a layout that was filled."""
    places = [vent.place for vent in answer.plan.vents]
    return LayoutAdvice(
        tuple(FeedAdvice(place.points_mm, place.radius_mm) for place in one.layout),
        tuple(FeedAdvice(place.points_mm, place.radius_mm) for place in places),
        answer.plan.vents is not job.plan.vents,
        answer.vented_time_s,
        answer.fill_impulse,
        one.last_mm,
        one.vent_lag,
        len(answer.trapped),
    )


def fill_layout(job: PartJob, one: Ranked, move_vents: bool) -> PartAnswer:
    """Fill the part with a layout, on a grid good enough for a picture."""
    plan = replace(with_layout(job.plan, one.layout), cells=min(job.plan.cells, LAYOUT_CELLS))
    fill = fill_plan(plan, steps=LAYOUT_STEPS)
    if fill.trapped and move_vents:
        plan, fill = with_vents_where_air_ends(plan, fill)
    total = fill.total if plan.slopes else one.total  # the search itself takes parts as level
    ends = Ends(
        total / max(stack.high for stack in plan.stacks),
        total / min(stack.low for stack in plan.stacks),
    )
    return put_in_time(replace(job, plan=plan), replace(fill, total=total), ends)
