"""Good runs and the run to judge, from their folders to the whole answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.fit.permeability import panel_impulse
from analysis.runs.panels.conditions import Unlike, unlike_conditions, unlike_stacks
from analysis.runs.panels.facts import PanelFacts, read_facts
from analysis.runs.panels.good_run import Reference, reference_from
from analysis.runs.panels.same_run import refuse_one_run_twice
from analysis.runs.repeat.band import CONFIDENCE, COVERAGE, USUAL_SD, Band
from analysis.runs.repeat.control_chart import ControlChart, known_charts
from analysis.runs.repeat.judged import (
    Judged,
    judge_by_band,
    passed_min,
    read_in_order,
    with_judged,
)

WIDEST = 2.0
"""Ratio of the ends of an interval of K past which it is not charted (common practice, no
source)."""


@dataclass(frozen=True)
class Run:
    """One run: what its folder says, its curve, and the curve against driving impulse.

    `by_impulse` is None where pressure or viscosity is not stated; `reference` is None where the
    front was not measured or is in doubt, for the reason in `why`.
    """

    label: str
    facts: PanelFacts
    reference: Reference | None
    by_impulse: Reference | None
    why: str = ""

    @property
    def name(self) -> str:
        """The panel's name."""
        return self.facts.name


@dataclass(frozen=True)
class Repeat(Judged):
    """How runs of panels repeat: as `Judged`, its runs being of panels."""

    good: tuple[Run, ...]
    judged: Run | None

    @property
    def unlike(self) -> list[Unlike]:
        """What panel.toml says was not alike between the runs."""
        runs = with_judged(self.good, self.judged)
        skip = ("Flow length of the part", "Gel time")
        facts = {run.label: run.facts for run in runs}
        told = [*unlike_stacks(facts), *unlike_conditions(facts)]
        return [one for one in told if one.what not in skip]

    @property
    def own_words(self) -> tuple[str, ...]:
        """Return what the run's own answer says against it."""
        if self.judged is None:
            return ()
        told = self.judged.facts.answer
        spoiled = told.verdict in ("unfair test", "cannot decide")
        shown = (f"Its own answer: {told.verdict}: {told.reason}.",) if spoiled else ()
        return (*shown, *(f"its own warning: {text}" for text in told.front.warnings))

    @property
    def unlike_words(self) -> tuple[str, ...]:
        """Return what panel.toml says was not alike between the runs, in words."""
        return tuple(f"{one.told[:-1]} (by the number of the run)." for one in self.unlike)


def judge_folders(
    good: Sequence[Path],
    judged: Path | None = None,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    usual_sd: float = USUAL_SD,
) -> Repeat:
    """Work out the band of good runs, and judge a run by it.

    Parameters
    ----------
    good : sequence of Path
        Folders of good runs, in the order in which they were made.
    judged : Path, optional
        Folder of the run to judge.
    coverage, confidence, usual_sd : float
        As for `analysis.runs.repeat.band.good_band`.

    Returns
    -------
    Repeat

    Raises
    ------
    WetlineError
        If a folder cannot be read or is named twice, two hold the same photos or marks, or no good
        run can be used.
    """
    runs, last = read_in_order(good, judged, read_run)
    refuse_one_run_twice([run.facts for run in with_judged(runs, last)])
    return repeat_of(runs, last, coverage, confidence, usual_sd)


def read_run(folder: Path, label: str) -> Run:
    """Read one run's folder."""
    return run_of(read_facts(folder), label)


def run_of(facts: PanelFacts, label: str) -> Run:
    """Build a run from what its folder says."""
    found = facts.answer
    front = found.front
    if not front.usable or front.doubts:
        return Run(label, facts, None, None, found.reason)
    curve = found.tracked.curve
    known = curve.used | (curve.time_s <= 0)
    reference = reference_from(facts.name, curve.time_s[known], curve.front_mean_mm[known])
    last_s = float(np.nanmax(curve.time_s))
    reference = replace(reference, last_s=last_s)
    impulse, stated = panel_impulse(found.panel)
    if not stated:
        return Run(label, facts, reference, None)
    by_impulse = replace(
        reference,
        time_s=np.asarray(impulse.at(reference.time_s), float),
        last_s=float(impulse.at(last_s)),
    )
    return Run(label, facts, reference, by_impulse)


def repeat_of(
    runs: Sequence[Run],
    judged: Run | None = None,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
    usual_sd: float = USUAL_SD,
) -> Repeat:
    """Work out the answer from runs that were read (see `judge_folders`)."""
    flow = runs[0].facts.answer.panel.flow if runs else ""
    out = [(run.facts.name, why) for run in runs if (why := _unfit(run, flow))]
    good = tuple(run for run in runs if not _unfit(run, flow))
    if judged is not None and (other := _other_feed(judged, flow)):
        judged = replace(judged, reference=None, by_impulse=None, why=other)
    found = judge_by_band(
        good, out, judged, coverage=coverage, confidence=confidence, usual_sd=usual_sd
    )
    own = {"good": good, "judged": judged, "charts": _charts(good, judged, found.band)}
    return Repeat(**(vars(found) | own))


def _other_feed(run: Run, flow: str) -> str:
    """Return that a run was fed otherwise than the first good one; empty where it was not."""
    if run.facts.answer.panel.flow == flow:
        return ""
    words = {"edge": "along an edge", "point": "at a point"}
    own = words[run.facts.answer.panel.flow]
    return f"it was fed {own}, the first good run {words[flow]}: their fronts cannot be compared"


def _unfit(run: Run, flow: str) -> str:
    """Return why a run is no good one to go by; empty where it is."""
    if other := _other_feed(run, flow):
        return other
    if run.reference is None:
        return run.why
    return run.facts.left_out if run.facts.answer.verdict == "unfair test" else ""


def _charts(good: Sequence[Run], judged: Run | None, band: Band) -> tuple[ControlChart, ...]:
    """Charts of what most runs know; a quantity that no run knows has none."""
    runs = with_judged(good, judged)
    labels = [run.label for run in runs]
    end_mm = float(band.distance_mm[-1])
    ks = [_sure_k(run) for run in runs]
    power = -11 if any(k is not None and k < 1e-10 for k in ks) else -10
    told: list[tuple[str, str, list[float | None]]] = [
        (
            "Permeability K",
            f"x 1e{power} m²",
            [None if k is None else k / 10.0**power for k in ks],
        ),
        (f"Time to {end_mm:.0f} mm", "min", [passed_min(run, end_mm) for run in runs]),
        ("Resin taken", "kg/m²", [_uptake(run) for run in runs]),
        ("Drawdown", "mbar/min", [run.facts.drawdown_mbar_min for run in runs]),
    ]
    return known_charts(labels, told, len(good))


def _sure_k(run: Run) -> float | None:
    """Permeability in m2; None where its interval is too wide to follow from run to run."""
    found = run.facts.answer
    if found.k_m2 is None or found.k_low_m2 is None or found.k_high_m2 is None:
        return None
    return found.k_m2 if found.k_high_m2 <= WIDEST * found.k_low_m2 else None


def _uptake(run: Run) -> float | None:
    told = run.facts.uptake
    return None if told is None or not told.weighed else told.kg_m2
