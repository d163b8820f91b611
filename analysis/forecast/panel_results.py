"""All answers for one panel: the content of results.json, and the same in plain lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from analysis.fit.anisotropy import Anisotropy, equivalent_feed_radius, fit_anisotropy
from analysis.fit.mixture_regression import interval, project
from analysis.fit.permeability import (
    DEFAULT_FEED_RADIUS_M,
    NoFit,
    PermeabilityFit,
    fit_permeability,
)
from analysis.forecast.fill_time import Fill, forecast_fill, packing_speed
from analysis.forecast.verdict import Verdict, decide, unfair_reasons
from analysis.panel.compaction import bag_factor, compaction_at
from analysis.panel.records import Panel
from analysis.panel.resin import GelTime, gel_time
from vision.common.atomic_files import plain, read_json
from vision.records import FrontCurve, FrontSummary, ScaleSummary

MAX_LINES = 20
CAUTION = (
    "The forecast is advice with an interval, not a permit: data sheets, local rules and licensed "
    "practice come first."
)


def answer(
    panel: Panel, curve: FrontCurve, front: FrontSummary, scale: ScaleSummary
) -> dict[str, Any]:
    """Give the content of results.json.

    Parameters
    ----------
    panel : Panel
        The panel record.
    curve, front, scale
        From the tracker.

    Returns
    -------
    dict
        Plain JSON values: ``front``, ``scale``, ``permeability``, ``fill``, ``gel``,
        ``verdict``, ``warnings``. SI unless a key names another unit; ``_low`` and ``_high`` are
        the 95 % interval; None where it does not apply.
    """
    return describe(panel, front, scale, *fit_panel(panel, curve, front, scale))


def fit_panel(
    panel: Panel, curve: FrontCurve, front: FrontSummary, scale: ScaleSummary
) -> tuple[PermeabilityFit | NoFit, Anisotropy | None]:
    """Fit the curve; for a point feed also the axis ratio, which then sharpens the fit."""
    fit = fit_permeability(panel, curve, front, scale)
    if isinstance(fit, NoFit) or curve.flow != "point":
        return fit, None
    radius = panel.feed_radius_m or DEFAULT_FEED_RADIUS_M
    axes = fit_anisotropy(curve, fit.used, radius)
    if axes is None:
        return fit, None
    sharper = fit_permeability(
        panel, curve, front, scale, feed_radius_m=equivalent_feed_radius(radius, axes.ratio)
    )
    return sharper, axes


def describe(
    panel: Panel,
    front: FrontSummary,
    scale: ScaleSummary,
    fit: PermeabilityFit | NoFit,
    axes: Anisotropy | None,
) -> dict[str, Any]:
    """Put fit, fill, gel and verdict into the shape of results.json."""
    gel = gel_time(panel.resin)
    lead = panel.resin.mixed_before_start_s
    working = None if gel is None else gel.working_s - lead
    fill = _fill(panel, fit, axes, working)
    unfair = [] if isinstance(fit, NoFit) else unfair_reasons(panel, front, fit)
    verdict = decide(panel, front, fit, fill, None if gel is None else gel.gel_s - lead, working)
    results = {
        "panel": {"name": panel.name, "flow": panel.flow},
        "front": asdict(front),
        "scale": asdict(scale),
        "stack": {
            "porosity": panel.stack.porosity,
            "fibre_fraction": panel.stack.fibre_fraction,
            "thickness_mm": None
            if panel.stack.thickness_m is None
            else panel.stack.thickness_m * 1e3,
        },
        "permeability": _permeability(fit, axes) | _bag(panel, fit),
        "fill": _fill_section(fill, panel),
        "gel": _gel_section(gel, working, fill),
        "verdict": {"verdict": verdict.verdict, "reason": verdict.reason},
        "warnings": _warnings(panel, front, fit, gel, unfair, verdict),
    }
    shaped: dict[str, Any] = plain(results)
    return shaped


def _fill(
    panel: Panel, fit: PermeabilityFit | NoFit, axes: Anisotropy | None, working: float | None
) -> Fill | None:
    if isinstance(fit, NoFit) or panel.part is None:
        return None
    slow = 1.0 if axes is None else axes.ratio**-0.5
    part = panel.part
    return forecast_fill(
        fit, part.flow_length_m, part.repeat_sd, working, part.feed, slow, packing_speed(panel)
    )


def _permeability(fit: PermeabilityFit | NoFit, axes: Anisotropy | None) -> dict[str, Any]:
    keys = ["model", "k_m2", "k_low_m2", "k_high_m2"]
    axis_keys = [f"{k}{end}_m2" for k in ("k1", "k2") for end in ("", "_low", "_high")]
    axis_keys += ["angle_deg", "angle_low_deg", "angle_high_deg", "ratio"]
    out: dict[str, Any] = dict.fromkeys([*keys, *axis_keys])
    if isinstance(fit, NoFit):
        return out | {"reason": fit.reason}
    out |= {key: getattr(fit, key) for key in keys}
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
        "models": [asdict(c) for c in fit.candidates],
    }
    if fit.flow == "point" and fit.k_m2 is not None and axes is not None:
        out |= _axes(fit, axes)
    return out


def _bag(panel: Panel, fit: PermeabilityFit | NoFit) -> dict[str, Any]:
    """K of the stack at its fibre fraction, where the user gave a compaction law."""
    out: dict[str, Any] = {"bag_factor": None, "k_at_fibre_fraction_m2": None}
    stack, drive = panel.stack, panel.vacuum.pressure_pa
    if isinstance(fit, NoFit) or fit.k_m2 is None or drive is None or stack.porosity is None:
        return out
    if stack.compaction_exponent is None:
        return out
    law = compaction_at(1.0 - stack.porosity, drive, stack.compaction_exponent)
    factor = bag_factor(law, drive, 0.98 * drive)
    return {"bag_factor": factor, "k_at_fibre_fraction_m2": fit.k_m2 / factor}


def _axes(fit: PermeabilityFit, axes: Anisotropy) -> dict[str, Any]:
    """K1 and K2 about K = sqrt(K1 K2)."""
    if fit.k_m2 is None or fit.k_low_m2 is None or fit.k_high_m2 is None:
        return {}
    log_sd = float(np.log(fit.k_high_m2 / fit.k_low_m2)) / (2 * 1.959964)
    out: dict[str, Any] = {}
    for name, sign in (("k1", 0.5), ("k2", -0.5)):
        m = axes.log_ratio
        half = project(m, sign * m.mean[:, 0], np.full((len(m.weight), 1), sign))
        low, high = interval(half, log_sd)
        out[f"{name}_m2"] = fit.k_m2 * axes.ratio**sign
        out[f"{name}_low_m2"] = fit.k_m2 * float(np.exp(low))
        out[f"{name}_high_m2"] = fit.k_m2 * float(np.exp(high))
    return out | {
        "angle_deg": axes.angle_deg,
        "angle_low_deg": axes.angle_low_deg,
        "angle_high_deg": axes.angle_high_deg,
        "ratio": axes.ratio,
    }


def _fill_section(fill: Fill | None, panel: Panel) -> dict[str, Any]:
    keys = ["flow_length_mm", "time_s", "time_low_s", "time_high_s", "longest_run_mm"]
    out: dict[str, Any] = dict.fromkeys(keys)
    if fill is None:
        return out
    longest = [fill.longest_run_m, fill.longest_low_m, fill.longest_high_m]
    mm = [None if value is None else value * 1000.0 for value in longest]
    return out | {
        "flow_length_mm": fill.flow_length_m * 1000.0,
        "feed": panel.part.feed if panel.part else None,
        "time_s": fill.time_s,
        "time_low_s": fill.time_low_s,
        "time_high_s": fill.time_high_s,
        "never": not np.isfinite(fill.time_s),
        "longest_run_mm": mm[0],
        "longest_run_low_mm": mm[1],
        "longest_run_high_mm": mm[2],
    }


def _gel_section(gel: GelTime | None, working: float | None, fill: Fill | None) -> dict[str, Any]:
    out: dict[str, Any] = {"gel_time_s": None, "working_time_s": None, "margin": None}
    if gel is None or working is None:
        return out
    out |= {"gel_time_s": gel.gel_s, "working_time_s": gel.working_s, "rough": gel.rough}
    if fill is None:
        return out
    margins = margin_interval(fill, working, gel.relative_sd)
    return out | dict(zip(("margin", "margin_low", "margin_high"), margins, strict=True))


def margin_interval(fill: Fill, working_s: float, gel_sd: float) -> tuple[float, float, float]:
    """Working time over fill time with its 95 % interval; 0 where it never fills.

    The doubts of gel time and fill time are independent and add in squares.
    """
    margin = working_s / fill.time_s
    gel = 1.959964 * gel_sd
    down = np.hypot(gel, np.log(fill.time_high_s / fill.time_s)) if fill.time_s < np.inf else 0.0
    up = np.hypot(gel, np.log(fill.time_s / fill.time_low_s)) if fill.time_s < np.inf else 0.0
    if not np.isfinite(fill.time_s):
        high = working_s / fill.time_low_s
        return 0.0, 0.0, float(high * np.exp(gel)) if high > 0 else 0.0
    return float(margin), float(margin * np.exp(-down)), float(margin * np.exp(up))


def _warnings(
    panel: Panel,
    front: FrontSummary,
    fit: PermeabilityFit | NoFit,
    gel: GelTime | None,
    unfair: list[str],
    verdict: Verdict,
) -> list[str]:
    out = [*panel.notes, *front.warnings]
    if unfair and verdict.verdict != "unfair test":
        out += unfair
    if gel is not None and gel.note:
        out.append(gel.note)
    if isinstance(fit, NoFit):
        return out
    out += fit.notes
    if fit.flow == "point" and panel.feed_radius_m is None:
        out.append("feed hole taken as 5 mm in radius: give [panel] feed_radius_mm")
    if packing_speed(panel) != 1.0:
        out.append(
            f"forecast corrected to the part's fibre fraction by Kozeny's form: "
            f"{packing_speed(panel):.2f} times the panel's speed"
        )
    lead = panel.resin.mixed_before_start_s
    last = float(np.max(fit.time_s[fit.used]))
    if gel is not None and gel.gel_s - lead < last:
        out.append(
            f"the front still moved at {last / 60:.0f} min, after the gel time "
            f"({gel.gel_s / 60:.0f} min from mixing): check [resin] gel_time_min"
        )
    return out


def plain_lines(results: Mapping[str, Any]) -> list[str]:
    """Tell the results in at most 20 lines for the screen, verdict first."""
    verdict = results["verdict"]
    lines = [
        f"Panel:        {results['panel']['name']}",
        f"Verdict:      {verdict['verdict'].upper()}",
        f"              {verdict['reason'][:1].upper()}{verdict['reason'][1:]}",
    ]
    lines += _permeability_lines(results["permeability"])
    lines += _fill_lines(results["fill"], results["gel"])
    front = results["front"]
    used = results["permeability"].get("frames_used") or front["frames_used"]
    lines.append(
        f"Front:        reached {front['length_reached_mm']:.0f} mm; "
        f"{used} of {front['frames']} frames used"
        if front["usable"]
        else "Front:        not measured"
    )
    warnings = results["warnings"]
    room = MAX_LINES - len(lines) - 1
    shown = warnings if len(warnings) <= room else warnings[: room - 1]
    lines += [f"Look at:      {text}" for text in shown]
    if len(shown) < len(warnings):
        lines.append(f"              and {len(warnings) - len(shown)} more in results.json")
    return [*lines, CAUTION]


def _permeability_lines(k: Mapping[str, Any]) -> list[str]:
    if k["k_m2"] is None:
        return ["Permeability: not known"]
    lines = [
        f"Permeability: {k['k_m2']:.2e} m2 (95 %: {k['k_low_m2']:.2e} to {k['k_high_m2']:.2e}), "
        "under this bag"
    ]
    if k["k1_m2"] is not None:
        lines.append(
            f"              fast {k['k1_m2']:.2e} at {k['angle_deg']:.0f} degrees, "
            f"slow {k['k2_m2']:.2e} m2"
        )
    return [*lines, f"              {_model_words(k)}"]


def _model_words(k: Mapping[str, Any]) -> str:
    """Say in plain words how the front moved."""
    resists = f"as if the panel began {k['feed_length_mm']:.0f} mm earlier"
    return {
        "plain": "the front slowed evenly, as it should",
        "late start": f"the front slowed evenly, counted from {k['start_s']:+.0f} s",
        "feed resistance": f"the feed held the resin back, {resists}",
        "feed resistance and late start": f"the feed held the resin back, {resists}",
    }.get(k["model"], str(k["model"]))


def _fill_lines(fill: Mapping[str, Any], gel: Mapping[str, Any]) -> list[str]:
    lines = []
    if fill["flow_length_mm"] is not None:
        lines.append(f"Fill time:    {fill['flow_length_mm']:.0f} mm {_span(fill)}")
    if gel["gel_time_s"] is not None:
        margin = gel["margin"]
        tail = "" if not margin else f"; working time is {margin:.2f} x the fill time"
        lines.append(
            f"Gel:          {gel['gel_time_s'] / 60:.0f} min, working time "
            f"{gel['working_time_s'] / 60:.0f} min{tail}"
        )
    if fill["longest_run_mm"] is not None:
        lines.append(
            f"Longest run:  {fill['longest_run_mm']:.0f} mm in the working time (95 %: "
            f"{fill['longest_run_low_mm']:.0f} to {fill['longest_run_high_mm']:.0f})"
        )
    return lines


def _span(fill: Mapping[str, Any]) -> str:
    if fill["time_s"] is None:
        return "never: the resin stiffens first"
    low, best = fill["time_low_s"] / 60, fill["time_s"] / 60
    high = "never" if fill["time_high_s"] is None else f"{fill['time_high_s'] / 60:.1f}"
    return f"in {best:.1f} min (95 %: {low:.1f} to {high})"


def read_fill_time(folder: Path) -> float | None:
    """Give the forecast fill time in s from results.json; None where there is none yet."""
    path = Path(folder) / "results" / "results.json"
    if not path.exists():
        return None
    value = (read_json(path).get("fill") or {}).get("time_s")
    return None if value is None else float(value)
