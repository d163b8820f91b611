"""What the record says, apart from how it looks: shared by the HTML page and the PDF."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

UNKNOWN = "not known"
SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

HEADLINES = {
    "fills": "The part should fill before the resin gels.",
    "tight": "The part should fill, but with little time to spare.",
    "gels first": "The resin gels before the part is full.",
    "unfair test": "This panel was not a fair test.",
    "cannot decide": "No answer can be given from this run.",
}
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
    "The part has the stack, consumables, resin and vacuum of the panel, and is fed the same way.",
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


@dataclass(frozen=True)
class Verdict:
    """The answer: its short word, the same in a sentence, why, and what to do next."""

    word: str
    headline: str
    reason: str
    next_step: str


@dataclass(frozen=True)
class Row:
    """One line of a table: what, its value, and its interval or remark."""

    name: str
    value: str
    more: str = ""


def part_of(results: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """Take one part of the results; an empty one where it is missing or null."""
    part = results.get(name)
    return part if isinstance(part, Mapping) else {}


def number(part: Mapping[str, Any], key: str) -> float | None:
    """Take a finite number, or None."""
    value = part.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def verdict_of(results: Mapping[str, Any]) -> Verdict:
    """Read the verdict; whatever is missing or unknown cannot decide."""
    found = results.get("verdict")
    if isinstance(found, Mapping):
        word, reason = found.get("verdict"), found.get("reason")
    else:
        word, reason = found, results.get("reason")
    word = word if isinstance(word, str) and word in HEADLINES else "cannot decide"
    reason = str(reason or "No reason was recorded.")
    reason = reason[0].upper() + reason[1:]
    return Verdict(word, HEADLINES[word], reason, NEXT_STEPS[word])


def minutes(time_s: float, like_s: float) -> tuple[str, str]:
    """Write seconds as minutes, with the decimals that suit `like_s`.

    Examples
    --------
    >>> minutes(2400.0, 2400.0), minutes(130.0, 130.0), minutes(2400.0, 130.0)
    (('40', 'min'), ('2.2', 'min'), ('40.0', 'min'))
    """
    return rounded(time_s / 60, 1 if like_s < 600 else 0), "min"


def rounded(value: float, decimals: int = 0) -> str:
    """Round as people do, halves away from zero.

    Examples
    --------
    >>> rounded(30.5), rounded(2.25, 1), rounded(-0.5)
    ('31', '2.3', '-1')
    """
    step = 10.0**decimals
    return f"{math.copysign(math.floor(abs(value) * step + 0.5) / step, value):.{decimals}f}"


def square_metres(value: float, like: float) -> tuple[str, str]:
    """Write a permeability with the power of ten that suits `like`.

    Examples
    --------
    >>> square_metres(8.13e-11, 8.13e-11), square_metres(1.02e-10, 8.13e-11)
    (('8.13', '× 10⁻¹¹ m²'), ('10.20', '× 10⁻¹¹ m²'))
    """
    power = math.floor(math.log10(abs(like))) if like else 0
    return f"{value / 10.0**power:.2f}", f"× 10{str(power).translate(SUPERSCRIPT)} m²"


def _mm(value: float, like: float) -> tuple[str, str]:
    return rounded(value), "mm"


def _degrees(value: float, like: float) -> tuple[str, str]:
    return rounded(value), "degrees"


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
    part: Mapping[str, Any],
    name: str,
    stem: str,
    unit: str,
    write: Callable[[float, float], tuple[str, str]],
    remark: str = "",
) -> Row:
    """Make a row from `stem_unit`, `stem_low_unit` and `stem_high_unit` of a part."""
    value = number(part, f"{stem}_{unit}")
    if value is None:
        return Row(name, UNKNOWN)
    ends = [number(part, f"{stem}_{end}_{unit}") for end in ("low", "high")]
    low, high = (None if end is None else write(end, value)[0] for end in ends)
    shown, shown_unit = write(value, value)
    return Row(name, f"{shown} {shown_unit}", interval(low, high, shown_unit) or remark)


def key_rows(results: Mapping[str, Any]) -> list[Row]:
    """Make the table of key numbers with their 95 % intervals, in shop units."""
    fill, gel = part_of(results, "fill"), part_of(results, "gel")
    margin = number(gel, "margin")
    share = "working time over fill time; above 1 it fills in time"
    rows = [
        _row(fill, "Flow length of the part", "flow_length", "mm", _mm, "as stated"),
        _row(fill, "Fill time of the part", "time", "s", minutes),
        _row(gel, "Gel time", "gel_time", "s", minutes, "as stated"),
        _row(gel, "Working time", "working_time", "s", minutes, "time in which it must be full"),
        Row("Margin", UNKNOWN) if margin is None else Row("Margin", f"{margin:.2f}", share),
        _row(fill, "Longest run that fills in time", "longest_run", "mm", _mm),
    ]
    return rows + permeability_rows(results)


def permeability_rows(results: Mapping[str, Any]) -> list[Row]:
    """Rows of permeability: one for an edge feed; a point feed has its two axes too."""
    found = part_of(results, "permeability")
    whole = _row(found, "Permeability K, effective", "k", "m2", square_metres)
    if number(found, "k1_m2") is None:
        return [whole]
    axes = [
        _row(found, "Permeability K1, along the long axis", "k1", "m2", square_metres),
        _row(found, "Permeability K2, across it", "k2", "m2", square_metres),
        _row(found, "Direction of K1 from the panel's length", "angle", "deg", _degrees),
    ]
    return axes if number(found, "k_m2") is None else [whole, *axes]


def fairness_rows(results: Mapping[str, Any]) -> list[Row]:
    """How fair the test was: each check with what was found."""
    front = part_of(results, "front")
    if front.get("usable") is False:
        return [Row("Flow front", "not measured")]
    frames = number(front, "frames")
    used = number(part_of(results, "permeability"), "frames_used")
    used = number(front, "frames_used") if used is None else used
    rows = [_race_row(front), _dry_row(front), *_reach_rows(front)]
    if used is not None and frames is not None:
        rows.append(Row("Frames used by the fit", f"{used:.0f} of {frames:.0f}"))
    return rows


def _race_row(front: Mapping[str, Any]) -> Row:
    race, limit = number(front, "race_tracking_mm"), number(front, "race_tracking_limit_mm")
    if race is None:
        return Row("Race-tracking", UNKNOWN)
    lead = "lead of the leading edge over the middle"
    limit_text = "" if limit is None else f"; limit {rounded(limit)} mm"
    return Row("Race-tracking", f"{rounded(race)} mm", lead + limit_text)


def _reach_rows(front: Mapping[str, Any]) -> list[Row]:
    stalled, reached = number(front, "stalled_at_mm"), number(front, "length_reached_mm")
    if reached is None:
        return [Row("Stall", UNKNOWN), Row("Front reached", UNKNOWN)]
    stall = Row("Stall", "none seen")
    if stalled is not None:
        stall = Row("Stall", f"at {rounded(stalled)} mm", "the front stood still there")
    end = {"True": "the far end", "False": "not the far end"}.get(str(front.get("filled")), "")
    return [stall, Row("Front reached", f"{rounded(reached)} mm", end)]


def _dry_row(front: Mapping[str, Any]) -> Row:
    spots = front.get("dry_spots")
    if not isinstance(spots, Sequence) or isinstance(spots, str):
        return Row("Dry spots", UNKNOWN)
    if not spots:
        return Row("Dry spots", "none seen")
    places = []
    for spot in spots:
        x, y, area = (number(spot, key) for key in ("x_mm", "y_mm", "area_mm2"))
        if x is not None and y is not None and area is not None:
            places.append(f"{area / 100:.1f} cm² at x {rounded(x)}, y {rounded(y)} mm")
    shown = places[:6] + ([f"and {len(places) - 6} more"] if len(places) > 6 else [])
    return Row("Dry spots", str(len(spots)), "; ".join(shown))


def warnings_of(results: Mapping[str, Any]) -> list[str]:
    """All warnings, each once, in the order of the parts."""
    texts: list[str] = []
    for part in (results, *(part_of(results, name) for name in results)):
        found = part.get("warnings") if isinstance(part, Mapping) else None
        if isinstance(found, Sequence) and not isinstance(found, str):
            texts += [str(text) for text in found]
    return list(dict.fromkeys(texts))


def scale_rows(results: Mapping[str, Any]) -> list[Row]:
    """How pixels became millimetres, and the error of that."""
    scale = part_of(results, "scale")
    method = scale.get("method")
    error, pitch = number(scale, "error_mm"), number(scale, "mm_per_px")
    relative = number(scale, "relative_sd")
    lengths = "" if relative is None else f"lengths to {196 * relative:.1f} % (95 %)"
    return [
        Row(
            "Scale from",
            SCALE_METHODS.get(str(method), str(method)) if method else UNKNOWN,
            lengths,
        ),
        Row(
            "Expected position error on the panel",
            UNKNOWN if error is None else f"{rounded(error, 1)} mm",
            "" if pitch is None else f"one pixel is {pitch:.2f} mm",
        ),
    ]


def assumptions_of(results: Mapping[str, Any]) -> list[str]:
    """What was taken as given: that of this run first, then what always holds."""
    texts: list[str] = []
    for part in (results, *(part_of(results, name) for name in results)):
        for key in ("assumptions", "assumption"):
            found = part.get(key)
            many = [found] if isinstance(found, str) else found
            if isinstance(many, Sequence):
                texts += [str(text) for text in many if text]
    return list(dict.fromkeys([*texts, *STANDING_ASSUMPTIONS]))
