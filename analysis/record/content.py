"""What the record says, apart from how it looks: shared by the HTML page and the PDF."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from analysis.fit.curvature import P_LIMIT
from analysis.fit.mixture_regression import Z_95
from analysis.fit.permeability import NoFit, PermeabilityFit
from analysis.forecast.panel_answer import GelAnswer, PanelAnswer
from analysis.forecast.panel_text import IN_DOUBT
from analysis.forecast.verdict import (
    UNFAIR_DRY_SHARE,
    UNFAIR_RACE_SHARE,
    UNFAIR_SAG,
    vacuum_drop,
)
from analysis.panel.records import Panel
from vision.common.rounding import Side, minute_decimals, rounded
from vision.records import DrySpot, FrontSummary

UNKNOWN = "not known"
SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

HEADLINES = {
    "fills": "The part should fill before the resin gels.",
    "tight": "The part should fill, but with little time to spare.",
    "gels first": "The resin gels before the part is full.",
    "unfair test": "This panel was not a fair test.",
    "cannot decide": "No answer can be given from this run.",
}
MAY_GEL_FIRST = "The resin may gel before the part is full."
NEXT_STEPS = {
    "fills": "Keep to this stack, this vacuum and this resin temperature on the part.",
    "tight": "Gain time before the part: a feed in the middle, a second feed line, flow media, "
    "a slower hardener, or a shorter run.",
    "gels first": "Do not infuse the part this way: shorten the run, add a feed line or flow "
    "media, or take a slower hardener, then test again.",
    "unfair test": "Mend what spoiled the test and run another panel before the part.",
    "cannot decide": "Mend what is missing, then run Wetline, or the panel, again.",
}
CAUTIONS = (
    "This forecast is advice with an interval, not a permit to infuse. The safety data sheets of "
    "your materials, local codes and licensed practice come first.",
    "Peroxide initiators injure eyes: wear goggles. An initiator must never meet a promoter "
    "directly; mix one into the resin fully before the other goes in.",
    "Styrene vapour needs ventilation, and protection as the safety data sheet says.",
    "Mixed resin in bulk can overheat and burn: mix what you can use, spread it out, and keep the "
    "left-over away from anything that burns until it is cold.",
    "A flat glass plate under vacuum can break: look it over for chips, and wear eye protection.",
)
STANDING_ASSUMPTIONS = (
    "Resin flows by Darcy's law with a sharp front between wet and dry.",
    "The permeability is an effective one: for this stack, under this bag pressure, wetting a dry "
    "stack (unsaturated). It forecasts the same stack under the same bag; it is not a property "
    "of the fabric alone.",
    "The part lies level and has the stack, consumables, resin and vacuum of the panel, except "
    "where something else is said here.",
)
DEMOULD_NOTES = (
    "Demoulded on, by",
    "Surface: dry patches, pinholes, print-through",
    "Underside and edges",
    "Thickness in mm, five places",
    "Resin used and left over",
    "What to change next time",
)
SCALE_METHODS = {
    "sheet": "printed scale sheet",
    "corners": "panel corners",
    "tape": "one taped length",
    "checkerboard": "checkerboard",
    "marks": "pen marks measured by hand",
}


Writer = Callable[[float, float, Side], tuple[str, str]]
"""Writes a value like another one: the text and its unit."""
SIDES: tuple[Side, Side] = ("down", "up")


@dataclass(frozen=True)
class VerdictWords:
    """The answer: its short word, a label, the same in a sentence, why, and what to do next."""

    word: str
    label: str
    headline: str
    reason: str
    next_step: str


@dataclass(frozen=True)
class TableRow:
    """One line of a table: what, its value, and its interval or remark."""

    name: str
    value: str
    more: str = ""


def verdict_words(answer: PanelAnswer) -> VerdictWords:
    """Return the verdict in words."""
    word, reason = answer.verdict, answer.reason or "No reason was recorded."
    reason = reason[:1].upper() + reason[1:]
    headline, next_step = HEADLINES[word], NEXT_STEPS[word]
    if answer.judgement.may_gel_first:
        headline, next_step = MAY_GEL_FIRST, NEXT_STEPS["gels first"]
    return VerdictWords(word, answer.judgement.headline.lower(), headline, reason, next_step)


def minutes(time_s: float, like_s: float, side: Side = "near") -> tuple[str, str]:
    """Write seconds as minutes, with the decimals that suit `like_s`.

    Examples
    --------
    >>> minutes(2400.0, 2400.0), minutes(130.0, 130.0), minutes(2400.0, 130.0)
    (('40', 'min'), ('2.2', 'min'), ('40.0', 'min'))
    """
    return rounded(time_s / 60, minute_decimals(like_s), side), "min"


def square_metres(value: float, like: float, side: Side = "near") -> tuple[str, str]:
    """Write a permeability with the power of ten that suits `like`.

    Examples
    --------
    >>> square_metres(8.13e-11, 8.13e-11), square_metres(1.02e-10, 8.13e-11)
    (('8.13', '× 10⁻¹¹ m²'), ('10.20', '× 10⁻¹¹ m²'))
    """
    power = math.floor(math.log10(abs(like))) if like else 0
    unit = f"× 10{str(power).translate(SUPERSCRIPT)} m²"
    return rounded(value / 10.0**power, 2, side), unit


def _whole_mm(value: float, like: float, side: Side = "near") -> tuple[str, str]:
    return rounded(value, 0, side), "mm"


def _degrees(value: float, like: float, side: Side = "near") -> tuple[str, str]:
    return rounded(value, 0, side), "degrees"


def interval(low: str | None, high: str | None, unit: str) -> str:
    """Write a 95 % interval; an end that is missing is open.

    Examples
    --------
    >>> interval("3", "5", "min"), interval("3", None, "min"), interval(None, None, "min")
    ('3 to 5 min', '3 min or more', '')
    """
    if low and high:
        return f"{low} to {high} {unit}"
    if low:
        return f"{low} {unit} or more"
    return f"up to {high} {unit}" if high else ""


def _row(
    name: str,
    value: float | None,
    write: Writer,
    ends: tuple[float | None, float | None] = (None, None),
    remark: str = "",
) -> TableRow:
    """Make a row from a value and the ends of its interval; infinity counts as open.

    The ends are rounded away from the value: an interval never looks narrower than it is.
    """
    if value is None or not math.isfinite(value):
        return TableRow(name, UNKNOWN)
    low, high = (
        None if end is None or not math.isfinite(end) else write(end, value, side)[0]
        for end, side in zip(ends, SIDES, strict=True)
    )
    shown, unit = write(value, value, "near")
    return TableRow(name, f"{shown} {unit}", interval(low, high, unit) or remark)


def key_rows(answer: PanelAnswer) -> list[TableRow]:
    """Make the table of key numbers with their 95 % intervals, in shop units."""
    gel = answer.gel
    gel_s = None if gel is None else gel.gel_time_s
    working_s = None if gel is None else gel.working_time_s
    lead_s = answer.panel.resin.mixed_before_start_s
    since = f"; from mixing, {minutes(lead_s, lead_s)[0]} min before resin start" if lead_s else ""
    length, time, longest = _fill_rows(answer)
    doubted = answer.front.doubts and not isinstance(answer.fit, NoFit)
    return [
        *([TableRow("What rests on the front", "in doubt", IN_DOUBT)] if doubted else []),
        length,
        time,
        _row("Gel time", gel_s, minutes, remark=f"as stated{since}"),
        _row("Working time", working_s, minutes, remark=f"time in which it must be full{since}"),
        _margin_row(gel),
        longest,
        *permeability_rows(answer),
    ]


def _fill_rows(answer: PanelAnswer) -> tuple[TableRow, TableRow, TableRow]:
    fill = answer.fill
    names = ("Flow length of the part", "Fill time of the part", "Longest run that fills in time")
    if fill is None:
        return TableRow(names[0], UNKNOWN), TableRow(names[1], UNKNOWN), TableRow(names[2], UNKNOWN)
    time = _row(names[1], fill.time_s, minutes, (fill.time_low_s, fill.time_high_s))
    if not math.isfinite(fill.time_s):
        time = TableRow(names[1], "never", "the resin stiffens first")
    ends = (_mm(fill.longest_low_m), _mm(fill.longest_high_m))
    return (
        _row(names[0], fill.flow_length_m * 1000.0, _whole_mm, remark="as stated"),
        time,
        _row(names[2], _mm(fill.longest_run_m), _whole_mm, ends),
    )


def _mm(value_m: float | None) -> float | None:
    return None if value_m is None else value_m * 1000.0


def _margin_row(gel: GelAnswer | None) -> TableRow:
    if gel is None or gel.margin is None:
        return TableRow("Margin", UNKNOWN)
    share = "working time over fill time; above 1 it fills in time"
    return TableRow("Margin", f"{gel.margin:.2f}", share)


def permeability_rows(answer: PanelAnswer) -> list[TableRow]:
    """Rows of permeability: one for an edge feed; a point feed has its two axes too."""
    ends = (answer.k_low_m2, answer.k_high_m2)
    whole = _row("Permeability K, effective", answer.k_m2, square_metres, ends)
    axes = answer.axes
    if axes is None:
        return [whole]
    k1_ends, k2_ends = (axes.k1_low_m2, axes.k1_high_m2), (axes.k2_low_m2, axes.k2_high_m2)
    angles = (axes.angle_low_deg, axes.angle_high_deg)
    return [
        whole,
        _row("Permeability K1, along the long axis", axes.k1_m2, square_metres, k1_ends),
        _row("Permeability K2, across it", axes.k2_m2, square_metres, k2_ends),
        _row("Direction of K1 from the panel's length", axes.angle_deg, _degrees, angles),
    ]


def fairness_rows(answer: PanelAnswer) -> list[TableRow]:
    """How fair the test was: each check with what was found and its limit."""
    front, fit = answer.front, answer.fit
    if not front.usable:
        return [TableRow("Flow front", "not measured")]
    used = int(fit.used.sum()) if isinstance(fit, PermeabilityFit) else front.frames_used
    return [
        *_evenness_rows(answer),
        *_reach_rows(front),
        _bend_row(fit),
        _vacuum_row(answer),
        TableRow("Frames used by the fit", f"{used} of {front.frames}"),
    ]


def _evenness_rows(answer: PanelAnswer) -> list[TableRow]:
    front = answer.front
    if front.race_tracking_mm is None or answer.scale.method == "marks":
        blind = "pen marks do not show it: look at the panel"
        return [
            TableRow("Race-tracking", UNKNOWN, blind),
            TableRow("Dry spots", UNKNOWN, blind),
        ]
    limit = UNFAIR_RACE_SHARE * front.length_reached_mm
    return [
        TableRow(
            "Race-tracking",
            f"{rounded(front.race_tracking_mm)} mm",
            f"lead of the leading edge over the middle; limit {rounded(limit, side='down')} mm",
        ),
        _dry_row(front.dry_spots),
    ]


def _reach_rows(front: FrontSummary) -> list[TableRow]:
    stall = TableRow("Stall", "none seen")
    if front.stalled_at_mm is not None:
        stall = TableRow(
            "Stall", f"at {rounded(front.stalled_at_mm)} mm", "the front stood still there"
        )
    end = "the far end" if front.filled else "not the far end"
    reached = TableRow("Front reached", f"{rounded(front.length_reached_mm)} mm", end)
    return [stall, reached, *_band_rows(front)]


def _band_rows(front: FrontSummary) -> list[TableRow]:
    """How far the cloth wets behind the leading front, where the photos show it."""
    if front.band_mm is None or front.half_behind_mm is None:
        return []
    behind = front.half_behind_mm
    side = "behind" if behind >= 0 else "ahead of"
    half = f"half of the width is wet {rounded(abs(behind), 1)} mm {side} the mean leading front"
    return [TableRow("Band from wet to dry", f"{rounded(front.band_mm)} mm", half)]


def _bend_row(fit: PermeabilityFit | NoFit) -> TableRow:
    name = "Slowing beyond Darcy's law"
    if isinstance(fit, NoFit) or fit.bend is None:
        return TableRow(name, UNKNOWN, "too few frames to tell")
    if not fit.bend.clear:
        return TableRow(name, "none that is clear", f"p {fit.bend.p_value:.2f}; limit {P_LIMIT:g}")
    lost = f"{100 * (1 - fit.bend.late_speed):.0f} % of the speed lost"
    return TableRow(name, lost, f"p under the limit of {P_LIMIT:g}")


def _vacuum_row(answer: PanelAnswer) -> TableRow:
    drop = vacuum_drop(answer.panel, answer.fit)
    if drop is None:
        return TableRow("Vacuum during the run", UNKNOWN, "no log and no readings: watch the gauge")
    limit = f"limit {100 * UNFAIR_SAG:.0f} %"
    return TableRow("Vacuum during the run", f"fell by {100 * drop:.0f} %", limit)


def _dry_row(spots: tuple[DrySpot, ...]) -> TableRow:
    limit = f"limit {100 * UNFAIR_DRY_SHARE:.0f} % of the wetted area"
    if not spots:
        return TableRow("Dry spots", "none seen", limit)
    places = [
        f"{s.area_mm2 / 100:.1f} cm² at x {rounded(s.x_mm)}, y {rounded(s.y_mm)} mm" for s in spots
    ]
    shown = places[:6] + ([f"and {len(places) - 6} more"] if len(places) > 6 else [])
    return TableRow("Dry spots", str(len(spots)), "; ".join([*shown, limit]))


def warnings_of(answer: PanelAnswer) -> list[str]:
    """Return all warnings, each once."""
    return list(dict.fromkeys(answer.warnings))


def scale_rows(answer: PanelAnswer) -> list[TableRow]:
    """How pixels became millimetres, and the error of that."""
    scale = answer.scale
    method = SCALE_METHODS.get(scale.method, scale.method)
    return [
        TableRow("Scale from", method, f"lengths to {100 * Z_95 * scale.relative_sd:.1f} % (95 %)"),
        TableRow(
            "Expected position error on the panel",
            f"{rounded(scale.error_mm, 1)} mm",
            f"one pixel is {scale.mm_per_px:.2f} mm" if scale.mm_per_px > 0 else "",
        ),
    ]


def assumptions_of(answer: PanelAnswer) -> list[str]:
    """What was taken as given: that of this run first, then what always holds."""
    own = [answer.scale.assumption] if answer.scale.assumption else []
    if answer.fill is not None:
        own += [f"Taken for the part: {text}." for text in answer.fill.assumes]
    if answer.gel is not None and answer.panel.resin.mixed_before_start_s == 0.0:
        own.append("The hardener went in at resin start: gel time is counted from there.")
    return [*own, *STANDING_ASSUMPTIONS]


def panel_rows(answer: PanelAnswer) -> list[TableRow]:
    """What was tested, in shop units."""
    panel, scale, start = answer.panel, answer.scale, answer.front.resin_start
    rows = [
        TableRow(
            "Panel", f"{scale.length_mm:.0f} mm along the flow, {scale.width_mm:.0f} mm across"
        ),
        TableRow("Feed", "along one edge" if panel.flow == "edge" else "at a point"),
    ]
    if start:
        rows.append(TableRow("Resin start", start.replace("T", " ")[:19]))
    return rows + _material_rows(panel)


def _material_rows(panel: Panel) -> list[TableRow]:
    stack, resin, vacuum, part = panel.stack, panel.resin, panel.vacuum, panel.part
    rows = []
    if stack.porosity is not None:
        rows.append(TableRow("Porosity of the stack", f"{stack.porosity:.2f}"))
    if resin.viscosity_pa_s is not None:
        rows.append(TableRow("Viscosity", f"{resin.viscosity_pa_s * 1000:.0f} mPa·s"))
    if vacuum.pressure_pa is not None:
        rows.append(
            TableRow("Vacuum (pressure difference)", f"{vacuum.pressure_pa / 100:.0f} mbar")
        )
    if part is not None:
        own = "" if part.length_stated else "the panel's own: none was stated"
        rows.append(
            TableRow("Longest flow on the part", f"{part.flow_length_m * 1000:.0f} mm", own)
        )
    rows += [TableRow("Understood", *text.rsplit(": ", 1)[::-1]) for text in panel.understood]
    return rows
