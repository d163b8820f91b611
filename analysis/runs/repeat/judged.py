"""How runs repeat, whatever they are of: good ones, their band, the run judged by it, charts.

Tested in tests/analysis/runs/repeat/test_job.py and
tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np

from analysis.runs.panels.good_run import Reference
from analysis.runs.repeat.band import CONFIDENCE, COVERAGE, USUAL_SD, Band, good_band
from analysis.runs.repeat.control_chart import ControlChart
from analysis.runs.repeat.judgement import RunJudgement, judge_run
from vision.common.rounding import rounded
from vision.errors import WetlineError

T = TypeVar("T")

IN, OUT, OPEN = 0, 3, 4
"""Exit codes: like the good runs, not like them, cannot be told."""


class RunLike(Protocol):
    """One run of a panel or a part.

    Attributes
    ----------
    label, name : str
    reference, by_impulse : Reference or None
        Its curve against time, and against driving impulse where resin and vacuum are stated;
        None where it was not measured or is in doubt, for the reason in `why`.
    why : str
    """

    @property
    def label(self) -> str: ...  # noqa: D102
    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def reference(self) -> Reference | None: ...  # noqa: D102
    @property
    def by_impulse(self) -> Reference | None: ...  # noqa: D102
    @property
    def why(self) -> str: ...  # noqa: D102


@dataclass(frozen=True)
class Judged:
    """How runs repeat.

    Attributes
    ----------
    good : tuple of RunLike
        Those that the band rests on.
    left_out : tuple of (str, str)
        Names of good runs that do not count, and why.
    judged : RunLike or None
    band : Band
        In seconds.
    judgement : RunJudgement or None
        None without a run to judge.
    alike : RunJudgement or None
        The same with stated resin and vacuum taken out; None where they are not stated.
    charts : tuple of ControlChart
    """

    good: Sequence[RunLike]
    left_out: tuple[tuple[str, str], ...]
    judged: RunLike | None
    band: Band
    judgement: RunJudgement | None
    alike: RunJudgement | None
    charts: tuple[ControlChart, ...]

    @property
    def exit_code(self) -> int:
        """0 like the good runs or nothing judged, 3 not like them, 4 where it cannot be told."""
        if self.judgement is None or self.judgement.word == "in":
            return IN
        return OUT if self.judgement.word == "out" else OPEN

    @property
    def own_head(self) -> str:
        """Return the answer in one sentence where more than the band gives it; else nothing."""
        return ""

    @property
    def own_sections(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return what else there is to tell, each under its title."""
        return ()

    def far_words(self, far: float) -> str:
        """Return a place on the band's way, in words."""
        return f"{rounded(far)} {self.band.unit}"

    @property
    def own_json(self) -> dict[str, Any]:
        """Return what else belongs into the JSON."""
        return {}

    @property
    def settings_file(self) -> str:
        """Return the file in which resin and vacuum are stated."""
        return "panel.toml"

    @property
    def own_words(self) -> tuple[str, ...]:
        """Return what the run's own answer says against it."""
        return ()

    @property
    def unlike_words(self) -> tuple[str, ...]:
        """Return what was not alike between the runs."""
        return ()


def with_judged(good: Sequence[T], judged: T | None) -> tuple[T, ...]:
    """Return good runs, then the one judged if there is one."""
    return (*good, *([] if judged is None else [judged]))


def passed_min(run: RunLike, far: float) -> float | None:
    """Return the minutes after which a run was so far; None where it never was, or is not known."""
    if run.reference is None:
        return None
    passed = float(run.reference.passed_s(np.array([far]))[0])
    return passed / 60.0 if np.isfinite(passed) else None


def read_in_order(
    good: Sequence[Path], judged: Path | None, read: Callable[[Path, str], T]
) -> tuple[list[T], T | None]:
    """Read good runs and the one to judge, labelled 1, 2, ... in this order.

    Raises
    ------
    WetlineError
        If a folder is named twice, or cannot be read.
    """
    refuse_same_folders(good, judged)
    runs = [read(folder, str(i)) for i, folder in enumerate(good, start=1)]
    return runs, None if judged is None else read(judged, str(len(good) + 1))


def refuse_same_folders(good: Sequence[Path], judged: Path | None) -> None:
    """Find out whether a folder is named twice.

    Raises
    ------
    WetlineError
        Naming it.
    """
    places = [folder.resolve() for folder in good]
    if len(set(places)) < len(places):
        raise WetlineError("repeat: one good run is named twice: leave one out")
    if judged is not None and judged.resolve() in places:
        raise WetlineError(f"{judged}: is among the good runs: a run cannot judge itself")


def judge_by_band(
    good: Sequence[RunLike],
    left_out: Sequence[tuple[str, str]],
    judged: RunLike | None,
    *,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    usual_sd: float = USUAL_SD,
    unit: str = "mm",
) -> Judged:
    """Work out the band of good runs and hold a run against it, without charts.

    Parameters
    ----------
    good : sequence of RunLike
    left_out : sequence of (str, str)
        Runs that do not count, and why, for the error where no run does.
    judged : RunLike, optional
    coverage, confidence, usual_sd, unit
        As for `analysis.runs.repeat.band.good_band`.

    Raises
    ------
    WetlineError
        If no good run can be used.
    """
    curves = [run.reference for run in good if run.reference is not None]
    if not curves:
        why = f": {left_out[0][0]}: {left_out[0][1]}" if left_out else ""
        raise WetlineError(f"repeat: no good run can be used{why}")
    band = good_band(curves, usual_sd, coverage, confidence, unit)
    judgement = alike = None
    if judged is not None:
        judgement = RunJudgement("cannot tell")
        if judged.reference is not None:
            judgement = judge_run(band, judged.reference)
        by_impulse = [run.by_impulse for run in good if run.by_impulse is not None]
        if judged.by_impulse is not None and len(by_impulse) == len(good):
            band_alike = good_band(by_impulse, usual_sd, coverage, confidence, unit)
            alike = judge_run(band_alike, judged.by_impulse)
    return Judged(tuple(good), tuple(left_out), judged, band, judgement, alike, ())
