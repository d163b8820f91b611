"""All answers for one panel in one record: permeability, fill, gel, verdict and warnings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.fit.anisotropy import (
    Anisotropy,
    PrincipalAxes,
    equivalent_feed_radius,
    fit_anisotropy,
    principal_axes,
)
from analysis.fit.impulse import Impulse
from analysis.fit.permeability import (
    DEFAULT_FEED_RADIUS_M,
    NoFit,
    PermeabilityFit,
    fit_permeability,
)
from analysis.forecast.fill_time import FillForecast, forecast_fill, packing_speed
from analysis.forecast.part_setup import assumptions, carried_impulse, part_gel_time, part_setup
from analysis.forecast.verdict import GelLimits, Judgement, judge, margin_interval
from analysis.panel.compaction import bag_factor, compaction_at
from analysis.panel.flow_media import tool_lag_m
from analysis.panel.panel_toml import read_panel
from analysis.panel.records import Panel
from analysis.panel.resin import GelTime
from vision.common.rounding import minutes
from vision.front.results import read_tracked
from vision.records import FrontSummary, ScaleSummary, Tracked

FAR_REACH = 2.5
"""Run of the part over the run measured past which the forecast is said to reach far (common
practice, no source: the panel is to have the part's flow length)."""
THICK_SHARE = 0.5
"""Share of the gel time after which a viscosity that stands still is not likely (common practice,
no source)."""
LAG_SD = 0.25
"""Relative sd of the lag behind flow media: it goes as the root of the permeability through the
thickness, which is rarely known to better than half (common practice, no source)."""


@dataclass(frozen=True)
class BagEffect:
    """What the bag that gives adds: `factor` is the K found over K of the packed stack."""

    factor: float
    k_at_fibre_fraction_m2: float


@dataclass(frozen=True)
class GelAnswer:
    """Gel and working time, and the margin of the fill against the working time.

    Attributes
    ----------
    gel_time_s, working_time_s : float
        Counted from mixing.
    rough : bool
        Whether the gel time was carried to another temperature by the halving rule.
    margin, margin_low, margin_high : float or None
        Working time over fill time and its 95 % interval; None without a fill time.
    """

    gel_time_s: float
    working_time_s: float
    rough: bool
    margin: float | None = None
    margin_low: float | None = None
    margin_high: float | None = None


@dataclass(frozen=True)
class PanelAnswer:
    """What one panel says.

    Attributes
    ----------
    panel : Panel
        What was tested.
    tracked : Tracked
        What the camera or the pen saw.
    fit : PermeabilityFit or NoFit
        NoFit counts as false and carries the reason.
    anisotropy : Anisotropy or None
        Point feed: axis ratio and direction.
    axes : PrincipalAxes or None
        Point feed: the two permeabilities.
    bag : BagEffect or None
        Where the user gave a compaction law.
    tool_lag_m : float or None
        How far the front at the tool lags behind the one seen; 0 without flow media, None where
        flow media's lead is not known.
    fill : FillForecast or None
        None without a fit or without a part.
    gel : GelAnswer or None
        None without a gel time.
    judgement : Judgement
        The verdict and its reason.
    warnings : tuple of str
    """

    panel: Panel
    tracked: Tracked
    fit: PermeabilityFit | NoFit
    anisotropy: Anisotropy | None
    axes: PrincipalAxes | None
    bag: BagEffect | None
    tool_lag_m: float | None
    fill: FillForecast | None
    gel: GelAnswer | None
    judgement: Judgement
    warnings: tuple[str, ...]

    @property
    def front(self) -> FrontSummary:
        """What the whole run showed."""
        return self.tracked.front

    @property
    def scale(self) -> ScaleSummary:
        """How pixels became millimetres."""
        return self.tracked.scale

    @property
    def verdict(self) -> str:
        """One of "fills", "tight", "gels first", "unfair test", "cannot decide"."""
        return self.judgement.verdict

    @property
    def reason(self) -> str:
        """Why, in words."""
        return self.judgement.reason

    @property
    def k_m2(self) -> float | None:
        """Effective unsaturated permeability under this bag, in m2; None where not known."""
        return self.fit.k_m2 if isinstance(self.fit, PermeabilityFit) else None

    @property
    def k_low_m2(self) -> float | None:
        """Lower end of its 95 % interval."""
        return self.fit.k_low_m2 if isinstance(self.fit, PermeabilityFit) else None

    @property
    def k_high_m2(self) -> float | None:
        """Upper end of its 95 % interval."""
        return self.fit.k_high_m2 if isinstance(self.fit, PermeabilityFit) else None

    @property
    def fill_time_s(self) -> float | None:
        """Fill time of the part in s; infinity where it never fills, None where not known."""
        return None if self.fill is None else self.fill.time_s

    @property
    def slow_axis(self) -> float:
        """K2 / sqrt(K1 K2) of a point-fed panel, else 1."""
        return 1.0 if self.anisotropy is None else self.anisotropy.ratio**-0.5


def answer(tracked: Tracked | Path | str, panel: Panel | Path | str | None = None) -> PanelAnswer:
    """Compute permeability, fill time and verdict of one panel.

    Parameters
    ----------
    tracked : Tracked or path
        From the tracker; or the folder of a panel that was tracked before.
    panel : Panel or path, optional
        What was tested, or the folder with its panel.toml. May be left out where `tracked` is a
        folder.

    Returns
    -------
    PanelAnswer

    Raises
    ------
    WetlineError
        If a file is missing or a value in it cannot be true.
    ValueError
        If `panel` is left out and `tracked` is no folder.

    Notes
    -----
    Source: Darcy's law with a sharp front; see `analysis.fit.permeability.fit_permeability`.

    Examples
    --------
    >>> from vision.front.pen_marks import track_marks
    >>> from vision.settings.panel_settings import read_setup
    >>> found = answer(track_marks(read_setup(Path("sample_frames/pen_marks"))),
    ...                "sample_frames/pen_marks")
    >>> found.verdict
    'fills'
    >>> found.k_low_m2 < found.k_m2 < found.k_high_m2
    True
    """
    if isinstance(tracked, str | Path):
        folder = Path(tracked)
        panel = read_panel(folder) if panel is None else panel
        return answer(read_tracked(folder), panel)
    if panel is None:
        raise ValueError("panel: needed beside what was tracked: give a Panel or its folder")
    if isinstance(panel, str | Path):
        panel = read_panel(Path(panel))
    return describe(panel, tracked, *fit_panel(panel, tracked))


def fit_panel(panel: Panel, tracked: Tracked) -> tuple[PermeabilityFit | NoFit, Anisotropy | None]:
    """Fit the curve; for a point feed also the axis ratio, which then sharpens the fit.

    Nothing is fitted while panel.toml holds a value in question.
    """
    if panel.questions:
        return NoFit("; ".join(panel.questions)), None
    fit = fit_permeability(panel, tracked)
    if isinstance(fit, NoFit) or tracked.curve.flow != "point":
        return fit, None
    radius = panel.feed_radius_m or DEFAULT_FEED_RADIUS_M
    found = fit_anisotropy(tracked.curve, fit.used, radius)
    if found is None:
        return fit, None
    sharper = fit_permeability(panel, tracked, equivalent_feed_radius(radius, found.ratio))
    return sharper, found


def describe(
    panel: Panel,
    tracked: Tracked,
    fit: PermeabilityFit | NoFit,
    anisotropy: Anisotropy | None,
) -> PanelAnswer:
    """Compute what follows from a fit: fill, gel, verdict and warnings."""
    gel = part_gel_time(panel)
    limits = gel_limits(panel, gel)
    lag_m = tool_lag_m(panel.stack, None if isinstance(fit, NoFit) else fit.k_m2)
    fill = _fill(panel, fit, anisotropy, limits, lag_m or 0.0)
    return PanelAnswer(
        panel=panel,
        tracked=tracked,
        fit=fit,
        anisotropy=anisotropy,
        axes=principal_axes(fit, anisotropy),
        bag=_bag_effect(panel, fit),
        tool_lag_m=lag_m,
        fill=fill,
        gel=_gel_answer(gel, limits, fill),
        judgement=judge(panel, tracked, fit, fill, limits, lag_m),
        warnings=(
            *panel.notes,
            *(f"in doubt: {text}" for text in tracked.front.doubts),
            *_where(tracked.front),
            *tracked.front.warnings,
            *_doubts(panel, fit, gel, lag_m),
            *_reach_doubts(panel, fit, fill, limits),
        ),
    )


def _where(front: FrontSummary) -> tuple[str, ...]:
    """Return the word on the picture of a refused run; the verdict names that of a doubtful one."""
    picture = front.unexplained_picture
    if front.usable or not picture:
        return ()
    return (f"see {picture} in the results: it shows where the panel was not understood",)


def gel_limits(panel: Panel, gel: GelTime | None) -> GelLimits | None:
    """Return gel and working time counted from resin start; None without a gel time."""
    if gel is None:
        return None
    lead = panel.resin.mixed_before_start_s
    return GelLimits(gel.gel_s - lead, gel.working_s - lead, gel.relative_sd)


def _fill(
    panel: Panel,
    fit: PermeabilityFit | NoFit,
    anisotropy: Anisotropy | None,
    limits: GelLimits | None,
    lag_m: float,
) -> FillForecast | None:
    """Forecast the part; behind flow media the front seen must run on by the tool side's lag."""
    if isinstance(fit, NoFit) or panel.part is None:
        return None
    part = panel.part
    run_m = part.flow_length_m + lag_m
    fill = forecast_fill(
        fit,
        run_m,
        float(np.hypot(part.repeat_sd, 2.0 * LAG_SD * lag_m / run_m)),
        None if limits is None else limits.working_s,
        feed=part.feed,
        slow_axis=1.0 if anisotropy is None else anisotropy.ratio**-0.5,
        speed=packing_speed(panel),
        setup=part_setup(panel, fit.feed_length_m),
        impulse=_part_impulse(panel, fit),
    )
    ends = [fill.longest_run_m, fill.longest_low_m, fill.longest_high_m]
    run, low, high = (None if end is None else max(end - lag_m, 0.0) for end in ends)
    return replace(
        fill,
        flow_length_m=part.flow_length_m,
        longest_run_m=run,
        longest_low_m=low,
        longest_high_m=high,
        assumes=assumptions(panel, fit.feed_length_m),
    )


def _part_impulse(panel: Panel, fit: PermeabilityFit) -> Impulse:
    """Impulse curve of the part: the panel's, unless the part is said to be warmer or colder."""
    if panel.part is None or panel.part.temperature_c is None:
        return fit.impulse
    return carried_impulse(panel, panel.part.temperature_c)


def _bag_effect(panel: Panel, fit: PermeabilityFit | NoFit) -> BagEffect | None:
    """K of the stack at its fibre fraction, where the user gave a compaction law."""
    stack, drive = panel.stack, panel.vacuum.pressure_pa
    if isinstance(fit, NoFit) or fit.k_m2 is None or drive is None or stack.porosity is None:
        return None
    if stack.compaction_exponent is None:
        return None
    law = compaction_at(1.0 - stack.porosity, drive, stack.compaction_exponent)
    factor = bag_factor(law, drive, 0.98 * drive)
    return BagEffect(factor, fit.k_m2 / factor)


def _gel_answer(
    gel: GelTime | None, limits: GelLimits | None, fill: FillForecast | None
) -> GelAnswer | None:
    if gel is None or limits is None:
        return None
    if fill is None:
        return GelAnswer(gel.gel_s, gel.working_s, gel.rough)
    margins = margin_interval(fill, limits.working_s, limits.gel_sd)
    return GelAnswer(gel.gel_s, gel.working_s, gel.rough, *margins)


def _reach_doubts(
    panel: Panel,
    fit: PermeabilityFit | NoFit,
    fill: FillForecast | None,
    limits: GelLimits | None,
) -> list[str]:
    """Write where the forecast leaves behind what the panel has shown."""
    if isinstance(fit, NoFit) or fill is None:
        return []
    out = []
    far = fill.flow_length_m / float(np.max(fit.front_m[fit.used]))
    if far > FAR_REACH:
        out.append(
            f"the part's run is {far:.1f} times as far as the front was measured: a longer panel "
            "says more"
        )
    resin, seen_s = panel.resin, float(np.max(fit.time_s[fit.used]))
    steady = resin.viscosity_log is None and resin.viscosity_growth_per_s == 0.0
    late_s = np.inf if limits is None else max(THICK_SHARE * limits.gel_s, seen_s)
    if steady and np.isfinite(fill.time_high_s) and fill.time_high_s > late_s:
        out.append(
            f"resin thickens within {minutes(fill.time_high_s, 'up')}, which the forecast leaves "
            "out: give [resin] viscosity_doubling_min or viscosity_log"
        )
    return out


def _doubts(
    panel: Panel, fit: PermeabilityFit | NoFit, gel: GelTime | None, lag_m: float | None
) -> list[str]:
    """Write what the numbers themselves call for: gel, fit, feed hole, packing, flow media."""
    out = [gel.note] if gel is not None and gel.note else []
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
    if lag_m:
        out.append(
            f"flow media: the tool side lags {lag_m * 1000.0:.0f} mm behind the front seen; fill "
            "time and verdict count it"
        )
    lead = panel.resin.mixed_before_start_s
    last = float(np.max(fit.time_s[fit.used]))
    if gel is not None and gel.gel_s - lead < last:
        out.append(
            f"the front still moved at {last / 60:.0f} min, after the gel time "
            f"({gel.gel_s / 60:.0f} min from mixing): check [resin] gel_time_min"
        )
    return out
