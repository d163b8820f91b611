"""Good runs of a part and the run to judge, from their folders to the whole answer.

Tested in tests/analysis/runs/part_repeat/test_part_repeat.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.infusion.kept.kept_run import read_front
from analysis.runs.part_repeat.numbers import NumberBand, charts, number_bands, number_lines
from analysis.runs.part_repeat.part_runs import PartRun, other_plan, read_part_run
from analysis.runs.part_repeat.places import (
    LEAST_LAG,
    PlaceBand,
    PlacesJudged,
    grid_of,
    judge_places,
    place_band,
)
from analysis.runs.part_repeat.words import place_lines, places_head
from analysis.runs.parts.part_facts import refuse_unlike
from analysis.runs.parts.parts_beside import unlike_stated
from analysis.runs.repeat.band import CONFIDENCE, COVERAGE, LEAST_OWN
from analysis.runs.repeat.judged import (
    OPEN,
    OUT,
    Judged,
    judge_by_band,
    read_in_order,
    with_judged,
)
from vision.records import FloatArray

UNIT = "% wet"


@dataclass(frozen=True)
class PartsRepeat(Judged):
    """How runs of one part repeat.

    Attributes
    ----------
    good : tuple of PartRun
    judged : PartRun or None
    place_band : PlaceBand or None
        None with fewer than three good runs.
    places : PlacesJudged or None
    numbers : tuple of NumberBand
    resin : tuple of (ndarray, ndarray)
        Percent wet, and kg of resin in by then: the middle of the good runs.
    """

    good: tuple[PartRun, ...]
    judged: PartRun | None
    place_band: PlaceBand | None = None
    places: PlacesJudged | None = None
    numbers: tuple[NumberBand, ...] = ()
    resin: tuple[FloatArray, FloatArray] | None = None

    @property
    def runs(self) -> tuple[PartRun, ...]:
        """Good runs, then the one judged."""
        return with_judged(self.good, self.judged)

    @property
    def beyond(self) -> tuple[NumberBand, ...]:
        """Numbers that are outside their band."""
        return tuple(one for one in self.numbers if one.word == "out")

    @property
    def exit_code(self) -> int:
        """0 like the good runs or nothing judged, 3 not like them, 4 where it cannot be told."""
        if self.judged is not None and self.judged.reference is not None:
            if self.places is not None and self.places.odd:
                return OUT
            if self.beyond and super().exit_code != OUT:
                return OPEN
        return super().exit_code

    @property
    def own_head(self) -> str:
        """Return the answer where places or numbers give it, not the whole of the part."""
        told = self.judgement
        if told is None or told.word in ("out", "cannot tell"):
            return ""
        if self.places is not None and self.places.odd:
            return f"NOT LIKE THE GOOD RUNS: {places_head(self.places)}"
        if self.beyond and told.word == "in":
            more = "" if len(self.beyond) == 1 else f", and {len(self.beyond) - 1} more"
            return f"QUESTION: {self.beyond[0].name} is outside the band of the good runs{more}"
        return ""

    @property
    def settings_file(self) -> str:
        """Return the file in which resin and vacuum are stated."""
        return "part.toml"

    @property
    def own_words(self) -> tuple[str, ...]:
        """Return what the places say, and the run's own doubts."""
        if self.judged is None or self.judged.reference is None:
            return ()
        seen = self.judged.facts.numbers["seen"]
        own = tuple(f"its own warning: {text}" for text in seen["warnings"])
        if self.places is None:
            return (f"Place by place nothing is judged: {self.why_no_places}.", *own)
        return (*place_lines(self.places), *own)

    @property
    def why_no_places(self) -> str:
        """Return why there is no band for single places."""
        if len(self.good) < LEAST_OWN:
            return f"that takes {LEAST_OWN} good runs"
        return "the good runs have too few places in common that were seen"

    @property
    def own_sections(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return the numbers beside their bands."""
        lines = number_lines(self.numbers)
        return (("Numbers", lines),) if lines else ()

    @property
    def unlike_words(self) -> tuple[str, ...]:
        """Return what part.toml says was not alike, and what Wetline took out."""
        told = unlike_stated({run.label: run.facts for run in self.runs})
        return tuple(f"{text} (by the number of the run)." for text in told)

    def far_words(self, far: float) -> str:
        """Return a wet share in words, with the resin that was in by then."""
        if self.resin is None:
            return super().far_words(far)
        return f"{super().far_words(far)}, {np.interp(far, *self.resin):.2f} kg in"

    @property
    def own_json(self) -> dict[str, Any]:
        """Return places, numbers and resin as plain values."""
        found, band = self.places, self.place_band
        places = None
        if found is not None and band is not None:
            odd = [{k: v for k, v in asdict(one).items() if k != "cells"} for one in found.odd]
            places = {
                "runs": band.runs,
                "spread": band.spread,
                "least_lag": LEAST_LAG,
                "compared_fraction": found.share,
                "pace_factor": found.pace,
                "odd": odd,
            }
        return {
            "places": places,
            "why_no_places": "" if self.place_band is not None else self.why_no_places,
            "numbers": [asdict(one) for one in self.numbers],
            "resin_in_kg": (
                None if self.resin is None else np.interp(self.band.distance_mm, *self.resin)
            ),
        }


def judge_part_folders(
    good: Sequence[Path],
    judged: Path | None = None,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
) -> PartsRepeat:
    """Work out the band of good runs of a part, and judge a run by it.

    Parameters
    ----------
    good : sequence of Path
        Folders of good runs, in the order in which they were made.
    judged : Path, optional
        Folder of the run to judge.
    coverage, confidence : float
        As for `analysis.runs.repeat.band.good_band`.

    Raises
    ------
    WetlineError
        If a folder cannot be read, is named twice or holds a copy, is another part, or no good run
        can be used.
    """
    runs, last = read_in_order(good, judged, read_part_run)
    refuse_unlike([run.facts for run in with_judged(runs, last)])
    return judge_part_runs(runs, last, coverage, confidence)


def judge_part_runs(
    runs: Sequence[PartRun],
    judged: PartRun | None = None,
    coverage: float = COVERAGE,
    confidence: float = CONFIDENCE,
) -> PartsRepeat:
    """Work out the answer from runs that were read (see `judge_part_folders`)."""
    plan = runs[0].plan
    why = {run.label: run.why or other_plan(plan, run.plan) for run in runs}
    good = tuple(run for run in runs if not why[run.label])
    out = [(run.name, why[run.label]) for run in runs if why[run.label]]
    if judged is not None and (other := other_plan(plan, judged.plan)):
        unlike = f"{other}: the runs cannot be compared"
        judged = replace(judged, reference=None, by_impulse=None, why=judged.why or unlike)
    found = judge_by_band(good, out, judged, coverage=coverage, confidence=confidence, unit=UNIT)
    band = place_band(grid_of(plan), [run.facts.kept.arrival for run in good], coverage, confidence)
    own = {
        "good": good,
        "judged": judged,
        "charts": charts(good, judged, float(found.band.distance_mm[-1])),
        "place_band": band,
        "places": _places(band, judged),
        "numbers": number_bands(good, judged, coverage, confidence),
        "resin": resin_by_share(good),
    }
    return PartsRepeat(**(vars(found) | own))


def _places(band: PlaceBand | None, judged: PartRun | None) -> PlacesJudged | None:
    if band is None or judged is None or judged.reference is None:
        return None
    return judge_places(band, judged.facts.kept.arrival)


def resin_by_share(runs: Sequence[PartRun]) -> tuple[FloatArray, FloatArray] | None:
    """Return percent wet and the resin in by then, kg: the middle of runs, as their photos say."""
    percent = np.linspace(0.0, 100.0, 101)
    masses = []
    for run in runs:
        rows = [
            (row["wetted_fraction"], row["resin_in_kg"])
            for row in read_front(run.facts.kept)
            if row["wetted_fraction"] is not None and row["resin_in_kg"] is not None
        ]
        if len(rows) > 1:
            share, mass = np.maximum.accumulate(np.array(sorted(rows)), axis=0).T
            masses.append(np.interp(percent, 100.0 * share, mass))
    return (percent, np.median(masses, axis=0)) if masses else None
