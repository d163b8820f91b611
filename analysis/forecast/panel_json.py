"""A panel's answer as the plain JSON values of results.json."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.fit.permeability import NoFit
from analysis.forecast.panel_answer import PanelAnswer
from analysis.panel.records import Stack
from vision.common.atomic_files import plain

K_KEYS = ("model", "k_m2", "k_low_m2", "k_high_m2")
AXIS_KEYS = (
    *(f"{k}{end}_m2" for k in ("k1", "k2") for end in ("", "_low", "_high")),
    *("angle_deg", "angle_low_deg", "angle_high_deg", "ratio"),
)
FILL_KEYS = ("flow_length_mm", "time_s", "time_low_s", "time_high_s", "longest_run_mm")
GEL_KEYS = ("gel_time_s", "working_time_s", "rough", "margin", "margin_low", "margin_high")


def answer_json(answer: PanelAnswer) -> dict[str, Any]:
    """Return the content of results.json.

    Parameters
    ----------
    answer : PanelAnswer

    Returns
    -------
    dict
        Plain JSON values: ``front``, ``scale``, ``permeability``, ``fill``, ``gel``,
        ``verdict``, ``warnings``, and ``understood`` where values were written with a unit. SI
        unless a key names another unit; ``_low`` and ``_high`` are
        the 95 % interval; None where it does not apply.
    """
    panel = answer.panel
    shaped: dict[str, Any] = plain(
        {
            "panel": {"name": panel.name, "flow": panel.flow},
            "front": asdict(answer.front),
            "scale": asdict(answer.scale),
            "stack": _stack(panel.stack),
            "permeability": _permeability(answer) | _bag(answer),
            "fill": _fill(answer),
            "gel": _gel(answer),
            "verdict": asdict(answer.judgement),
            "warnings": list(answer.warnings),
            "frame_notes": list(answer.tracked.frame_notes),
            "settings_stamp": answer.tracked.settings_stamp,
            "answer_stamp": panel.stamp,
            **({"understood": list(panel.understood)} if panel.understood else {}),
        }
    )
    return shaped


def _stack(stack: Stack) -> dict[str, Any]:
    return {
        "porosity": stack.porosity,
        "fibre_fraction": stack.fibre_fraction,
        "thickness_mm": _mm(stack.thickness_m),
    }


def _mm(value_m: float | None) -> float | None:
    return None if value_m is None else value_m * 1000.0


def _permeability(answer: PanelAnswer) -> dict[str, Any]:
    fit = answer.fit
    out: dict[str, Any] = dict.fromkeys((*K_KEYS, *AXIS_KEYS))
    if isinstance(fit, NoFit):
        return out | {"reason": fit.reason}
    out |= {key: getattr(fit, key) for key in K_KEYS}
    out |= {
        "kind": "unsaturated, effective under this bag",
        "why_this_model": fit.why,
        "k_over_porosity_m2": None if fit.k_m2 is None else fit.slope / fit.law.k_factor,
        "diffusivity_m2_per_s": fit.slope * float(fit.impulse.rate(0.0)),
        "start_s": fit.start_s,
        "feed_length_mm": fit.feed_length_m * 1000.0,
        "frames_used": int(fit.used.sum()),
        "fit_from_s": float(np.min(fit.time_s[fit.used])),
        "fit_to_s": float(np.max(fit.time_s[fit.used])),
        "rms_residual_mm": float(np.sqrt(np.nanmean(fit.residual_m**2)) * 1000.0),
        "residual_correlation": fit.correlation,
        "relative_sd": dict(fit.relative_sd),
        "models": [asdict(candidate) for candidate in fit.candidates],
        "bend": None if fit.bend is None else asdict(fit.bend) | {"clear": fit.bend.clear},
    }
    return out if answer.axes is None else out | asdict(answer.axes)


def _bag(answer: PanelAnswer) -> dict[str, Any]:
    bag = answer.bag
    return {
        "bag_factor": None if bag is None else bag.factor,
        "k_at_fibre_fraction_m2": None if bag is None else bag.k_at_fibre_fraction_m2,
    }


def _fill(answer: PanelAnswer) -> dict[str, Any]:
    fill, part = answer.fill, answer.panel.part
    out: dict[str, Any] = dict.fromkeys(FILL_KEYS)
    if fill is None:
        return out
    return out | {
        "flow_length_mm": fill.flow_length_m * 1000.0,
        "feed": part.feed if part else None,
        "time_s": fill.time_s,
        "time_low_s": fill.time_low_s,
        "time_high_s": fill.time_high_s,
        "never": not np.isfinite(fill.time_s),
        "longest_run_mm": _mm(fill.longest_run_m),
        "longest_run_low_mm": _mm(fill.longest_low_m),
        "longest_run_high_mm": _mm(fill.longest_high_m),
        "assumes": list(fill.assumes),
        "tool_lag_mm": _mm(answer.tool_lag_m),
    }


def _gel(answer: PanelAnswer) -> dict[str, Any]:
    gel = answer.gel
    out: dict[str, Any] = dict.fromkeys(GEL_KEYS)
    if gel is None:
        return out
    out |= {"gel_time_s": gel.gel_time_s, "working_time_s": gel.working_time_s, "rough": gel.rough}
    if gel.margin is None:
        return out
    return out | {
        "margin": gel.margin,
        "margin_low": gel.margin_low,
        "margin_high": gel.margin_high,
    }
