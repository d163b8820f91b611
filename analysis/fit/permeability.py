"""Front curve and panel to permeability, with an interval that means what it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analysis.fit.candidate_models import fit_models, fit_one, model_front, reach_of
from analysis.fit.curvature import Bend, find_bend
from analysis.fit.frame_selection import (
    SLOWED,
    STANDS_OFF,
    Readings,
    choose_frames,
    drop_bad,
    drop_slowed,
)
from analysis.fit.front_laws import GRAVITY_M_S2, FrontLaw, edge_law, point_law, sloped_edge_law
from analysis.fit.impulse import Impulse, constant_impulse, logged_impulse
from analysis.fit.mixture_regression import (
    Mixture,
    ModelFit,
    evidence_weights,
    interval,
    join,
    project,
    whiteners,
)
from analysis.panel.flow_media import whole_porosity
from analysis.panel.records import Panel
from analysis.panel.resin import DEFAULT_DENSITY_KG_M3
from vision.common.rounding import lapse
from vision.records import BoolArray, FloatArray, Tracked

PLAUSIBLE_K_M2 = (1e-12, 1e-8)
"""Outside this window something in panel.toml is most likely wrong (common practice)."""
TRIALS_FOR_CLEANING = 8
"""Every how many trial correlations serve to find bad frames."""
DEFAULT_FEED_RADIUS_M = 0.005
RACE_SD = 0.10
"""Sd added to K per unit of race-tracking lead over length reached: edges that lead by 38 % raise
the K of the central third by about 3 % (worked out from a parabolic lead)."""
NO_LAW = (
    "no steady flow runs like this front: check the times of the photos or marks, [frames] "
    "resin_start, and which side the feed is on"
)
START_OFF_S, START_OFF_SHARE = 30.0, 0.04
"""A start that the front itself puts further off than both, in seconds and as a share of the run,
is said: valves and clocks are not that slow (common practice, no source)."""


@dataclass(frozen=True)
class NoFit:
    """A fit that could not be made; counts as false and carries the reason."""

    reason: str

    def __bool__(self) -> bool:
        """Count as false."""
        return False


@dataclass(frozen=True)
class Candidate:
    """One model that was tried: AICc (smaller is better), its weight, slope D it found."""

    name: str
    aicc: float
    weight: float
    slope_m2: float


@dataclass(frozen=True)
class PermeabilityFit:
    """What the front curve says.

    Attributes
    ----------
    model : str
        The model with the best evidence.
    k_m2, k_low_m2, k_high_m2 : float or None
        Effective unsaturated permeability under this bag and its 95 % interval; None where
        viscosity, pressure or porosity is not known.
    slope : float
        D of ``h(x) + 2 a x = D theta + c``; where pressure or viscosity is unknown theta is the
        plain time.
    start_s, feed_length_m : float
        Fitted start on the run's clock and extra length a of a feed that resists.
    time_s, front_m, fitted_m, used, notes
        Per frame of the curve; `fitted_m` holds for every frame.
    mixture : Mixture
        Guesses of (ln D, c / reach^2, a / reach).
    relative_sd : mapping
        Share of each known source in ln K.
    bend : Bend or None
        Whether the front slows beyond its law; None where the frames are too few to tell.
    """

    model: str
    why: str
    flow: str
    law: FrontLaw
    impulse: Impulse
    k_m2: float | None
    k_low_m2: float | None
    k_high_m2: float | None
    slope: float
    start_s: float
    feed_length_m: float
    reach_m: float
    time_s: FloatArray
    front_m: FloatArray
    sd_m: FloatArray
    fitted_m: FloatArray
    used: BoolArray
    frame_notes: tuple[str, ...]
    mixture: Mixture
    relative_sd: Mapping[str, float]
    correlation: float
    residual_scale: float
    candidates: tuple[Candidate, ...]
    notes: tuple[str, ...]
    bend: Bend | None = None

    @property
    def residual_m(self) -> FloatArray:
        """Measured less fitted front, NaN for frames not used."""
        return np.where(self.used, self.front_m - self.fitted_m, np.nan)

    @property
    def misfit_m(self) -> float:
        """Root mean square of measured less fitted front, over the frames that tell of it.

        Those that stand off the fit count too: where many do, it is the fit that is off.
        """
        seen = self.used | np.array([note == STANDS_OFF for note in self.frame_notes])
        return float(np.sqrt(np.mean((self.front_m - self.fitted_m)[seen] ** 2)))

    @property
    def slows(self) -> bool:
        """Whether the front lost speed beyond its law and what is stated of resin and vacuum."""
        return SLOWED in self.frame_notes or (self.bend is not None and self.bend.clear)


def panel_impulse(panel: Panel) -> tuple[Impulse, bool]:
    """Compute the panel's driving impulse, and whether pressure and viscosity are both known.

    Where one is missing the impulse is the plain time, so that fill times still follow.
    """
    pressure = panel.vacuum.log or panel.vacuum.pressure_pa
    viscosity = panel.resin.viscosity_log or panel.resin.viscosity_pa_s
    if pressure is None or viscosity is None:
        return constant_impulse(1.0, 1.0, panel.resin.viscosity_growth_per_s), False
    return logged_impulse(pressure, viscosity, panel.resin.viscosity_growth_per_s), True


def front_law(panel: Panel, flow: str, feed_radius_m: float | None = None) -> FrontLaw:
    """Choose the closed form from the kind of feed and the slope of the panel."""
    if flow == "point":
        return point_law(feed_radius_m or panel.feed_radius_m or DEFAULT_FEED_RADIUS_M)
    if panel.slope_deg and panel.vacuum.pressure_pa:
        density = panel.resin.density_kg_m3 or DEFAULT_DENSITY_KG_M3
        pull = density * GRAVITY_M_S2 * np.sin(np.radians(panel.slope_deg))
        return sloped_edge_law(float(pull / panel.vacuum.pressure_pa))
    return edge_law()


def fit_permeability(
    panel: Panel, tracked: Tracked, feed_radius_m: float | None = None
) -> PermeabilityFit | NoFit:
    """Fit permeability to a front curve.

    Parameters
    ----------
    panel : Panel
        The panel record.
    tracked : Tracked
        From the tracker; the arrival map is not needed.
    feed_radius_m : float, optional
        Point feed: goes before the panel's own.

    Returns
    -------
    PermeabilityFit or NoFit
        NoFit carries the reason in plain words.

    Notes
    -----
    Source: Darcy's law with a sharp front, x^2 linear in the driving impulse; regression over the
    whole run rather than point by point (Ferland, Guittard and Trochu 1996, Polym. Compos. 17,
    149, from memory). Models are weighted by AICc (Burnham and Anderson 2002, from memory).
    """
    curve, front, scale = tracked.curve, tracked.front, tracked.scale
    if not front.usable:
        return NoFit(front.reason or "no front could be measured")
    readings = choose_frames(curve, front, panel.length_m or scale.length_mm / 1000.0 or None)
    if readings.reason:
        return NoFit(readings.reason)
    impulse, known = panel_impulse(panel)
    law = front_law(panel, curve.flow, feed_radius_m)
    use = readings.used
    front_m, theta = readings.front_m[use], impulse.at(readings.time_s[use])
    readings = drop_slowed(readings, law.h(front_m), theta, law.slope(front_m))
    loose_start = front.resin_start_sd_s > 0.25 * float(np.median(np.diff(np.sort(curve.time_s))))
    trials = whiteners(readings.time_s[readings.used])
    for _ in range(2):
        fit = fit_one(law, impulse, readings, (True, False), trials[::TRIALS_FOR_CLEANING])
        if fit is None:
            return NoFit(NO_LAW)
        fitted = model_front(law, impulse, readings, fit.parameters)
        cleaned = drop_bad(readings, (readings.front_m - fitted)[readings.used])
        if cleaned.count == readings.count:
            break
        readings = cleaned
        trials = whiteners(readings.time_s[readings.used])
    even = not raced(tracked, panel)
    fits = fit_models(law, impulse, readings, loose_start, not even, trials)
    if not fits:
        return NoFit(NO_LAW)
    bend = find_bend(law, impulse, readings, even and law.flow == "edge", trials)
    found = _conclude(panel, tracked, _Fitted(law, impulse, known, readings, fits), bend)
    if law.flow == "edge" and not law.square:
        note = _slope_note(impulse, readings, loose_start, min(c.aicc for c in found.candidates))
        found = replace(found, notes=(*found.notes, note))
    return found


def _slow_note(readings: Readings) -> tuple[str, ...]:
    if SLOWED not in readings.notes:
        return ()
    minutes = readings.time_s[readings.notes.index(SLOWED)] / 60.0
    return (
        f"the front slowed from about {minutes:.0f} min on, beyond what Darcy's law says "
        "(thickening resin, falling vacuum, an empty pot?): later frames are left out",
    )


def _start_note(start_s: float, last_s: float) -> tuple[str, ...]:
    """Write what speaks against the resin start in use, if the front began at another time."""
    if abs(start_s) < max(START_OFF_S, START_OFF_SHARE * last_s):
        return ()
    when = "after" if start_s > 0 else "before"
    return (
        f"the front runs as if resin had entered {lapse(start_s)} {when} the resin start in use: "
        "check [frames] resin_start and the times",
    )


def _slope_note(impulse: Impulse, readings: Readings, loose: bool, sloped: float) -> str:
    """Write what the frames themselves think of the slope."""
    level = min(fit.aicc for fit in fit_models(edge_law(), impulse, readings, loose).values())
    gap = level - sloped
    if gap > 2:
        return f"the slope of the panel is counted in; the frames show it (AICc {gap:.1f} lower)"
    if gap < -2:
        return (
            f"the slope of the panel is counted in, but the frames fit better without it (AICc "
            f"{-gap:.1f} lower): check [panel] slope_deg and its sign"
        )
    return "the slope of the panel is counted in; the frames alone could not tell"


def raced(tracked: Tracked, panel: Panel) -> bool:
    """Return whether lanes had to be left out because an edge raced."""
    front = tracked.front
    width_mm = tracked.scale.width_mm or (panel.width_m or 0.0) * 1000.0
    kept = sum(upper - lower for lower, upper in front.clean_lanes_mm)
    return bool(front.clean_lanes_mm) and kept < 0.98 * width_mm


@dataclass(frozen=True)
class _Fitted:
    """The models tried on one set of readings, with what they were tried under.

    `known` is whether pressure and viscosity are both known, so that K follows.
    """

    law: FrontLaw
    impulse: Impulse
    known: bool
    readings: Readings
    fits: Mapping[str, ModelFit]

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        weights = evidence_weights(np.array([fit.aicc for fit in self.fits.values()]))
        return tuple(
            Candidate(name, fit.aicc, float(weight), float(np.exp(fit.parameters[0])))
            for (name, fit), weight in zip(self.fits.items(), weights, strict=True)
        )


def _conclude(
    panel: Panel, tracked: Tracked, fitted: _Fitted, bend: Bend | None
) -> PermeabilityFit:
    """Put the models together by their weight; the best one gives the single values."""
    law, readings, reach = fitted.law, fitted.readings, reach_of(fitted.readings)
    candidates = fitted.candidates
    best_name = max(candidates, key=lambda candidate: candidate.weight).name
    best = fitted.fits[best_name]
    weights = np.array([candidate.weight for candidate in candidates])
    mixture = join([fit.mixture for fit in fitted.fits.values()], weights)
    slope = float(np.exp(best.parameters[0]))
    last_s = float(np.max(readings.time_s[readings.used]))
    sources = _sources(panel, tracked, fitted)
    k, low, high = _permeability(panel, fitted, slope, mixture, sources)
    start_s = float(fitted.impulse.time_of(-best.parameters[1] * reach**2 / slope))
    return PermeabilityFit(
        model=best_name,
        why=why_best(candidates, best_name),
        flow=law.flow,
        law=law,
        impulse=fitted.impulse,
        k_m2=k,
        k_low_m2=low,
        k_high_m2=high,
        slope=slope,
        start_s=start_s,
        feed_length_m=float(best.parameters[2] * reach),
        reach_m=reach,
        time_s=readings.time_s,
        front_m=readings.front_m,
        sd_m=readings.sd_m,
        fitted_m=model_front(law, fitted.impulse, readings, best.parameters),
        used=readings.used,
        frame_notes=readings.notes,
        mixture=mixture,
        relative_sd=sources,
        correlation=best.correlation,
        residual_scale=best.scale,
        candidates=candidates,
        notes=(*_notes(panel, k), *_slow_note(readings), *_start_note(start_s, last_s)),
        bend=bend,
    )


def _permeability(
    panel: Panel, fitted: _Fitted, slope: float, mixture: Mixture, sources: Mapping[str, float]
) -> tuple[float | None, float | None, float | None]:
    """K and its 95 % interval in m2; None where viscosity, pressure or porosity is not known."""
    porosity = whole_porosity(panel.stack)
    if not fitted.known or porosity is None:
        return None, None, None
    gradient = np.tile([1.0, 0.0, 0.0], (len(mixture.weight), 1))
    log_d = project(mixture, mixture.mean[:, 0], gradient)
    factor = porosity / fitted.law.k_factor
    bounds = interval(log_d, float(np.sqrt(sum(sd**2 for sd in sources.values()))))
    low, high = (float(np.exp(min(bound, 700.0))) * factor for bound in bounds)
    return slope * factor, low, high


def _sources(panel: Panel, tracked: Tracked, fitted: _Fitted) -> dict[str, float]:
    """Relative standard uncertainties of K that do not show in the residuals."""
    law, readings, reach = fitted.law, fitted.readings, reach_of(fitted.readings)
    offset = float(np.median(readings.sd_m[readings.used]))
    race = abs(tracked.front.race_tracking_mm or 0.0) / 1000.0 / reach if reach > 0 else 0.0
    return {
        "viscosity": panel.resin.viscosity_sd,
        "pressure": panel.vacuum.pressure_sd,
        "porosity": panel.stack.porosity_sd,
        "scale": 2.0 * tracked.scale.relative_sd,
        "edge of the front": float(offset * law.slope(np.array(reach)) / law.h(np.array(reach))),
        "race-tracking": RACE_SD * min(race, 1.0),
    }


def why_best(candidates: tuple[Candidate, ...], best: str) -> str:
    """Write why one model is named, by how much better it explains the frames."""
    if len(candidates) == 1:
        return f"{best}: the frames call for no other model"
    rest = sorted((c for c in candidates if c.name != best), key=lambda c: c.aicc)
    chosen = next(c for c in candidates if c.name == best)
    gap = rest[0].aicc - chosen.aicc
    strength = "clearly" if gap > 6 else "somewhat" if gap > 2 else "by a hair"
    return (
        f"{best} explains the frames {strength} better than {rest[0].name} (AICc {gap:.1f} lower)"
    )


def _notes(panel: Panel, k: float | None) -> tuple[str, ...]:
    notes = []
    if k is not None and not PLAUSIBLE_K_M2[0] <= k <= PLAUSIBLE_K_M2[1]:
        notes.append(
            f"permeability {k:.1e} m2 is outside {PLAUSIBLE_K_M2[0]:g} to {PLAUSIBLE_K_M2[1]:g}: "
            "check viscosity, pressure, scale and times"
        )
    missing = [
        name
        for name, value in (
            ("[resin] viscosity_mpas", panel.resin.viscosity_log or panel.resin.viscosity_pa_s),
            ("[vacuum] pressure_difference_mbar", panel.vacuum.pressure_pa),
            ("[stack] porosity", panel.stack.porosity),
        )
        if value is None
    ]
    if missing:
        notes.append(f"no permeability without {', '.join(missing)}: add to panel.toml")
    return tuple(notes)
