"""Answers of made-up runs on a part: a racing edge seen by a camera straight above."""

from dataclasses import replace

import numpy as np

from analysis.infusion.answer.part_run import answer_part_run
from analysis.infusion.answer.run_files import write_run
from analysis.infusion.seen.made_from import MadeFrom, plan_stamp
from tests.made_up.part_beside import filled, planned, seen_on

SCALE_PX = 0.8
"""Pixels of the made-up photo per mm; the part begins 60 px from its corner."""


ON_PHOTO = """[frames]
source = "frames"
resin_start = 0

[scale]
method = "outline"
photo = "photo 1"
points_px = [[60, 60], [540, 60], [540, 300], [60, 300]]
points_mm = [[0, 0], [600, 0], [600, 300], [0, 300]]

"""
"""Lines of part.toml: the part as that camera sees it."""


def above(seen):
    """Return what was seen with photos from straight above."""
    plane = np.array([[SCALE_PX, 0.0, 60.0], [0.0, SCALE_PX, 60.0], [0.0, 0.0, 1.0]])
    return replace(seen, homographies=np.repeat(plane[None], len(seen.frames), axis=0))


def run_of(job, answer, seen, photos="photo"):
    """Return the run that was seen, stamped as one that was made from files."""
    names = tuple(f"{photos} {k}" for k in range(len(seen.frames)))
    made = MadeFrom(plan_stamp(job.path), names, "test")
    return replace(answer_part_run(job, answer, seen), made_from=made)


def late_run(folder, **how):
    """Return a run whose right lower part is 300 s late."""
    job, answer = planned(folder)
    links = answer.filling.links
    time_s, centre = answer.arrival_s[links.number >= 0], links.centre_mm[: links.cells]
    box = (np.abs(centre[:, 0] - 450) < 60) & (centre[:, 1] > 180)
    seen, _ = seen_on(answer, time_s + 300.0 * box, **how)
    return run_of(job, answer, above(seen))


def even_run(folder, **how):
    """Return a run that goes as planned."""
    job, answer = planned(folder)
    return run_of(job, answer, above(filled(job, answer, **how)[0]))


def write_even_run(folder):
    """Write a part that went as planned, with its camera and its results, into a folder."""
    (folder / "frames").mkdir(parents=True)
    job, answer = planned(folder, ON_PHOTO)
    run = run_of(job, answer, above(filled(job, answer)[0]))
    write_run(run, folder / "results", (39, grey_photo()))


def unusable_run(folder):
    """Return a run in which nothing could be measured."""
    job, answer = planned(folder)
    seen, _ = filled(job, answer)
    why = "the part was hidden throughout: move what stands before it"
    return run_of(job, answer, above(replace(seen, usable=False, reason=why)))


def grey_photo():
    """Return a photo of nothing, as large as the made-up camera's."""
    return np.full((360, 600, 3), 128, np.uint8)
