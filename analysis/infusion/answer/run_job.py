"""The whole job on a part under the camera: plan, photos, comparison, files.

Tested in tests/analysis/commands/test_run_part.py.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from pathlib import Path

from analysis.infusion.ahead.feeds_at_work import seen_at_work
from analysis.infusion.ahead.next_feed import in_result, told_at_work
from analysis.infusion.answer.part_run import InfusionAnswer, answer_part_run
from analysis.infusion.answer.run_files import write_photo, write_run
from analysis.infusion.beside.openings import find_openings
from analysis.infusion.learn.fit_plan import fit_plan
from analysis.infusion.outlook.numbers import (
    learnt_forecast,
    planned_forecast,
    read_part_numbers,
)
from analysis.infusion.seen.by_hand import ByHand, as_opened, read_by_hand
from analysis.infusion.seen.early_feeds import find_early, with_early_feeds
from analysis.infusion.seen.made_from import made_from
from analysis.infusion.seen.part_setup import part_camera
from analysis.part.answer.job import answer_job, results_of
from analysis.part.part_folder import RECORDS, has_camera
from analysis.part.plan.part_toml import read_part
from vision.common.atomic_files import remove_file
from vision.errors import WetlineError
from vision.frames.source import open_frames
from vision.parts.part_settings import PartCamera
from vision.parts.track_part import track_part_folder

Progress = Callable[[int, int], None]


def run_part(
    path: Path, *, photos: bool = False, quiet: bool = True, progress: Progress | None = None
) -> InfusionAnswer:
    """Track a part, put it beside its plan, learn from it, and write what was found.

    Parameters
    ----------
    path : Path
        A part.toml, or the folder it lies in.
    photos : bool
        Also draw the lines on each photo.
    quiet : bool
        Show no bar.
    progress : callable, optional
        Given the frames done and the frames in all, in place of the bar.

    Raises
    ------
    WetlineError
        If part.toml has no [frames], or as reading the plan, tracking and writing.
    """
    job = read_part(path)
    if not has_camera(path):
        raise WetlineError(
            f"{job.path}: [frames]: is missing: say where the photos of the part are, "
            'as source = "frames"; for the plan alone: wetline part'
        )
    camera = part_camera(job)
    results, stamp = results_of(path), made_from(job.path, camera.frames)
    tracked = track_part_folder(camera, quiet, progress)
    planned = answer_job(job, results, lambda text: None)
    run = answer_part_run(job, planned, tracked.seen)
    hand = read_by_hand(job.path.parent, job.plan)
    opened_s = hand.opened_s(job.plan, run.seen.start_clock_s if run.seen.usable else None)
    early = find_early(run.seen, job.plan, run.on, opened_s)
    seen = with_early_feeds(run.seen, early)
    run = learnt_from(replace(run, seen=seen, notes=tracked.notes, made_from=stamp), opened_s)
    run = with_ahead(run, hand, opened_s, {one.name for one in early})
    last = tracked.last_photo
    shown = None if last is None else (run.seen.frames.index(last.name), last.image)
    write_run(run, results, shown)
    for name in RECORDS:  # an older one would tell another story
        remove_file(results / name)
    if photos:
        _write_photos(run, camera, results)
    return run


def learnt_from(
    run: InfusionAnswer, opened_s: Sequence[float | None] | None = None
) -> InfusionAnswer:
    """Return a run with when its feeds opened and what the plan learns, or why it learns nothing.

    Parameters
    ----------
    run : InfusionAnswer
    opened_s : sequence of (float or None), optional
        When feeds were noted as open, as for `fit_plan`.
    """
    if run.beside is None:
        return run
    run = replace(run, openings=find_openings(run.job, run.on, opened_s))
    try:
        learnt = fit_plan(run.job, run.on, opened_s, openings=run.openings)
    except WetlineError as error:
        return replace(run, not_learnt=str(error))
    return replace(run, learnt=learnt, openings=learnt.openings)


def with_ahead(
    run: InfusionAnswer,
    hand: ByHand,
    opened_s: Sequence[float | None] | None = None,
    early: Collection[str] = (),
) -> InfusionAnswer:
    """Return a run with what is still to come, where the part is not full.

    Parameters
    ----------
    run : InfusionAnswer
    hand : ByHand
        Feeds that were opened and vents that were clamped.
    opened_s : sequence of (float or None), optional
        As for `learnt_from`.
    early : collection of str
        Later feeds that resin came out of before anyone can have opened them.
    """
    if run.beside is None:
        return run
    if run.learnt is not None:
        forecast = learnt_forecast(run.learnt, run.on)
    else:
        forecast = planned_forecast(as_opened(run.job, opened_s))
    plan = run.job.plan
    opened, vents = dict(hand.opened), hand.open_vents(plan)
    found = read_part_numbers(run.job, run.seen, forecast, opened, vents)
    if found.left is None or found.left.filled:
        return run
    if found.feeds:
        feeds = told_at_work(found.feeds, _at_work(run, opened_s) | set(early))
        found = replace(found, feeds=in_result(feeds, plan, found.last_s))
    return replace(run, ahead=found)


def _at_work(run: InfusionAnswer, opened_s: Sequence[float | None] | None) -> frozenset[str]:
    """Return the feeds that resin was seen to come from and that nobody noted as open."""
    photo_s = run.seen.frame_s[run.seen.used]
    names = seen_at_work(run.job, run.on, photo_s, opened_s)
    seen = {one.name for one in run.openings if one.at_work and not one.noted}
    return names | seen


def _write_photos(run: InfusionAnswer, camera: PartCamera, results: Path) -> None:
    """Draw the lines on each photo of the run, one at a time."""
    with open_frames(camera.setup()) as frames:
        for frame in frames:
            if frame.name in run.seen.frames:
                write_photo(run, results, run.seen.frames.index(frame.name), frame.image)
