"""A run that was read back, as the answer that its pictures are drawn from."""

from __future__ import annotations

from math import nan

import numpy as np

from analysis.infusion.answer.part_run import InfusionAnswer, answer_part_run
from analysis.infusion.kept.kept_run import KeptRun, read_front
from analysis.part.answer.part_answer import PartAnswer
from vision.part_records import PartSeen
from vision.records import FloatArray, ScaleSummary


def as_run(kept: KeptRun, planned: PartAnswer) -> InfusionAnswer:
    """Return a kept run beside its plan again: its arrival map, its resin, and where they part.

    Parameters
    ----------
    kept : KeptRun
    planned : PartAnswer
        The plan, filled.

    Raises
    ------
    WetlineError
        If the table of its photos is not what Wetline writes.

    Notes
    -----
    The map is kept whole; shares by photo are as rounded as the table has them. What was learnt,
    the scale, and where the photos show the part, are left out.
    """
    arrival, seen, rows = kept.arrival, kept.numbers["seen"], read_front(kept)

    def column(key: str) -> FloatArray:
        return np.array([np.nan if row[key] is None else row[key] for row in rows], float)

    told = PartSeen(
        x_mm=arrival.x_mm,
        y_mm=arrival.y_mm,
        inside=arrival.inside,
        time_s=arrival.time_s,
        sd_s=arrival.sd_s,
        seen=arrival.seen,
        last_s=arrival.last_s,
        start_sd_s=arrival.start_sd_s,
        frames=tuple(row["frame"] for row in rows),
        frame_s=column("time_s"),
        wetted_share=column("wetted_fraction"),
        wetted_sd=column("wetted_sd"),
        used=np.array([row["used"] for row in rows], bool),
        notes=tuple(row["note"] for row in rows),
        homographies=np.full((len(rows), 3, 3), np.nan),
        scale=ScaleSummary("kept", nan, nan, nan, nan, nan),
        usable=bool(seen["usable"]),
        reason=str(seen["reason"] or ""),
    )
    return answer_part_run(kept.job, planned, told)
