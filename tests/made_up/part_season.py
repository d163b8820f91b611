"""Folders of runs of one made-up part, as several good days and a bad one leave them."""

from dataclasses import replace

import numpy as np

from analysis.infusion.answer.run_files import write_run
from analysis.infusion.answer.run_job import learnt_from
from tests.made_up.infusion_answers import above, run_of
from tests.made_up.part_beside import ZONE, filled, planned


def part_run(
    folder, *, seed=0, factor=1.0, rib=1.0, learn=False, patch=None, more=ZONE, told=None, **seen
):
    """Write one run's folder.

    Parameters
    ----------
    factor : float
        On all times.
    rib : float
        On the permeability of the zone.
    learn : bool
        Whether the plan learns from it.
    patch : callable, optional
        Given x and y in mm, a factor on the times there.
    told : dict, optional
        Fields of what was seen that differ, such as ``usable``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    job, answer = planned(folder, more)
    factors = (1.0, rib) if more else ()
    what, _ = filled(job, answer, factor=factor, factors=factors, **seen)
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(what.x_mm, what.y_mm)
    phase = rng.uniform(0, 2 * np.pi, 3)
    rough = 0.01 * sum(
        np.sin(2 * np.pi * (k * x / 600 + (3 - k) * y / 300) + phase[k]) for k in range(3)
    )
    local = 1.0 if patch is None else np.vectorize(patch)(x, y)
    what = replace(what, time_s=what.time_s * np.exp(rough) * local, **(told or {}))
    run = run_of(job, answer, above(what), photos=folder.name)
    write_run(learnt_from(run) if learn else run, folder / "results", None)
    return folder
