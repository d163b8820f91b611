"""A run on a part as plain values: the content of part_run.json."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict
from typing import Any

from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.answer.run_text import answer_words, at_work, feed_words
from analysis.infusion.beside.causes import Cause
from analysis.infusion.beside.compare_plan import Beside, Patch
from analysis.infusion.beside.late import SURE_SD
from analysis.infusion.learn.learnt import Learnt
from analysis.infusion.outlook.numbers import PartNumbers
from vision.common.atomic_files import plain


def run_json(run: InfusionAnswer) -> dict[str, Any]:
    """Return the content of part_run.json: SI unless a key says otherwise, else null."""
    seen, planned = run.seen, run.planned
    word, reason = answer_words(run)
    content: dict[str, Any] = {
        "name": planned.name,
        "answer": word.lower(),
        "reason": reason,
        "seen": {
            "usable": seen.usable,
            "reason": seen.reason,
            "frames": len(seen.frames),
            "frames_used": int(seen.used.sum()),
            "resin_start": seen.resin_start,
            "resin_start_sd_s": seen.start_sd_s,
            "last_s": seen.last_s,
            "wetted_fraction": run.wet_share,
            "wetted_sd": _last(seen.wetted_sd) if seen.usable else None,
            "doubts": seen.doubts,
            "warnings": seen.warnings,
        },
        "scale": {
            "method": seen.scale.method,
            "mm_per_px": seen.scale.mm_per_px,
            "error_mm": seen.scale.error_mm,
        },
        "planned": {
            "verdict": planned.verdict,
            "fill_time_s": planned.fill_time_s,
            "fill_time_low_s": planned.fill_time_low_s,
            "fill_time_high_s": planned.fill_time_high_s,
            "resin_kg": planned.resin_kg,
        },
        "resin": _resin(run),
        "beside": None if run.beside is None else _beside(run.beside, at_work(run)),
        "learnt": None if run.learnt is None else _learnt(run.learnt),
        "not_learnt": run.not_learnt,
        "ahead": None if run.ahead is None else _ahead(run.ahead),
        "openings": [asdict(one) for one in run.openings],
        "notes": run.notes,
        "made_from": None if run.made_from is None else asdict(run.made_from),
    }
    ready: dict[str, Any] = plain(content)
    return ready


def _last(values: Any) -> float:
    return float(values[-1]) if len(values) else float("nan")


def _resin(run: InfusionAnswer) -> dict[str, Any] | None:
    if run.resin is None or not len(run.resin.resin_in_kg):
        return None
    mass, half = _last(run.resin.resin_in_kg), 1.96 * _last(run.resin.resin_in_sd_kg)
    return {
        "resin_in_kg": mass,
        "resin_in_low_kg": max(mass - half, 0.0),
        "resin_in_high_kg": mass + half,
        "planned_by_then_kg": _last(run.resin.planned_kg),
    }


def _beside(found: Beside, works: Collection[str]) -> dict[str, Any]:
    late = found.late
    return {
        "paced": late.paced,
        "agreed": late.agreed,
        "pace_factor": late.factor if late.paced else None,
        "plan_factor_low": late.plan_low,
        "plan_factor_high": late.plan_high,
        "pace_beyond_plan": found.pace_beyond_plan,
        "slowing": found.slowing,
        "causes": [_cause(one) for one in found.whole],
        "compared_fraction": found.compared_share,
        "unseen_fraction": found.unseen_share,
        "places": [_patch(one) for one in found.patches],
        "feeds": [
            {
                "name": one.name,
                "planned_s": one.planned_s,
                "wet_s": one.wet_s,
                "state": one.state,
                "by_front": one.by_front,
                "text": feed_words(one, one.name in works),
            }
            for one in found.feeds
        ],
        "strays": [
            {
                "x_mm": one.x_mm,
                "y_mm": one.y_mm,
                "time_s": one.time_s,
                "area_mm2": one.area_mm2,
                "where": one.where,
            }
            for one in found.strays
        ],
    }


def _ahead(numbers: PartNumbers) -> dict[str, Any]:
    left = numbers.left
    return {
        "forecast": "corrected" if numbers.learnt else "plan alone",
        "left_fraction": None if left is None else left.left_share,
        "full_s": None if left is None else left.end_s,
        "full_low_s": None if left is None else left.low_s,
        "full_high_s": None if left is None else left.high_s,
        "feeds": [
            {"name": feed.name, "state": feed.state, "text": feed.text} for feed in numbers.feeds
        ],
        "cut_offs": [
            {
                "x_mm": cut.x_mm,
                "y_mm": cut.y_mm,
                "area_mm2": cut.area_mm2,
                "closes_s": cut.closes_s,
                "closes_low_s": cut.low_s,
                "closes_high_s": cut.high_s,
                "closed": cut.closed,
                "likely": cut.likely,
                "hidden": cut.hidden,
            }
            for cut in numbers.cut_offs
        ],
    }


def _learnt(learnt: Learnt) -> dict[str, Any]:
    return {
        "values": [
            {
                "kind": one.kind,
                "name": one.name,
                "unit": one.unit,
                "planned": one.planned,
                "value": one.value if one.told else None,
                "low": one.low if one.told else None,
                "high": one.high if one.told else None,
                "seen_low": one.seen_low if one.told else None,
                "seen_high": one.seen_high if one.told else None,
                "forecast_with": one.value,
                "told": one.told,
                "why": one.why,
            }
            for one in learnt.values
        ],
        "fill_time_s": learnt.fill_time_s,
        "fill_time_low_s": learnt.fill_low_s,
        "fill_time_high_s": learnt.fill_high_s,
        "gel_time_s": learnt.gel_s,
        "working_time_s": learnt.working_s,
        "explains": learnt.explains,
        "misfit": learnt.misfit,
        "notes": learnt.notes,
    }


def _patch(patch: Patch) -> dict[str, Any]:
    half = SURE_SD * patch.late_sd_s
    return {
        "where": patch.where,
        "x_mm": patch.x_mm,
        "y_mm": patch.y_mm,
        "area_mm2": patch.area_mm2,
        "late_s": patch.late_s,
        "late_low_s": patch.late_s - half,
        "late_high_s": None if patch.at_least else patch.late_s + half,
        "most_s": patch.most_s,
        "at_least": patch.at_least,
        "beyond_plan": patch.beyond_plan,
        "causes": [_cause(one) for one in patch.causes],
    }


def _cause(cause: Cause) -> dict[str, str]:
    return {"usually": cause.name, "because": cause.why, "look_at": cause.look}
