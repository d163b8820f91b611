"""The comparison as rows of words, one cell for each panel: what screen, page and table share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.runs.compare.comparison import QUANTITIES, Comparison
from analysis.runs.compare.differences import Difference, Estimate
from analysis.runs.compare.setups import PanelNumbers
from analysis.runs.panels.facts import PanelFacts
from vision.common.rounding import minute_decimals, rounded, scientific

UNKNOWN = "not known"
NOT_SEEN = "not seen"
MANY_PAIRS = 6
"""More pairs than this are told by the real ones only."""


@dataclass(frozen=True)
class Cell:
    """What stands in one field: the value, and its interval or remark in smaller type."""

    text: str
    more: str = ""


@dataclass(frozen=True)
class Row:
    """One line of the table: what, and a cell for each panel."""

    name: str
    cells: tuple[Cell, ...]


def table_rows(found: Comparison) -> list[Row]:
    """Return the table side by side, a column for each panel."""
    panels = list(found.panels.values())
    numbers = [one for setup in found.setups for one in setup.numbers]
    length = f"{found.length_m * 1000.0:.0f} mm"
    first = next(iter(found.panels))
    rows = [
        Row("Verdict of its own run", tuple(Cell(p.answer.judgement.headline) for p in panels)),
        Row("Stack", tuple(Cell(stack_words(p)) for p in panels)),
        Row("Flow media", tuple(Cell(media_words(p)) for p in panels)),
        Row("Permeability K", tuple(_k(one) for one in numbers)),
        Row(f"{length} fill in, as run", tuple(_minutes(one.time) for one in numbers)),
        Row(
            f"{length} with resin and vacuum of {first}",
            tuple(_minutes(one.time_alike) for one in numbers),
        ),
        Row("Margin (working time / fill time)", tuple(_margin(one) for one in numbers)),
        Row("Front, leading less trailing edge", tuple(_spread(p) for p in panels)),
        Row("Edge ahead of the middle", tuple(_race(p) for p in panels)),
        Row("Dry behind the front", tuple(_dry(p) for p in panels)),
        Row("Resin taken", tuple(_uptake(p) for p in panels)),
        Row("Surface", tuple(_surface(p) for p in panels)),
        Row("Drawdown before", tuple(_drawdown(p) for p in panels)),
        Row("Run on", tuple(Cell(p.date or UNKNOWN) for p in panels)),
    ]
    quiet = {"Flow media": "none", "Drawdown before": UNKNOWN, "Run on": UNKNOWN}
    return [
        row
        for row in rows
        if row.name not in quiet or any(cell.text != quiet[row.name] for cell in row.cells)
    ]


def stack_words(panel: PanelFacts) -> str:
    """Write the stack in a few words."""
    stack, told = panel.stack, panel.answer.panel.stack
    words = [str(stack["name"])] if stack.get("name") else []
    if stack.get("layers"):
        words.append(f"{stack['layers']} layers")
    if told.porosity is not None:
        words.append(f"porosity {told.porosity:.2f}")
    return ", ".join(words) or UNKNOWN


def media_words(panel: PanelFacts) -> str:
    """Write whether flow media lay on the stack."""
    media = panel.answer.panel.stack.media
    return "none" if media is None else f"{media.thickness_m * 1000.0:.1f} mm thick"


def _k(one: PanelNumbers) -> Cell:
    if one.k is None:
        return Cell(UNKNOWN)
    low, high = scientific(one.k.low, 2, "down"), scientific(one.k.high, 2, "up")
    return Cell(f"{scientific(one.k.value)} m2", f"95 %: {low} to {high}")


def _minutes(one: Estimate | None) -> Cell:
    if one is None:
        return Cell(UNKNOWN)
    places = minute_decimals(one.value)
    low, high = rounded(one.low / 60, places, "down"), rounded(one.high / 60, places, "up")
    return Cell(f"{rounded(one.value / 60, places)} min", f"95 %: {low} to {high}")


def _margin(one: PanelNumbers) -> Cell:
    told = one.margin
    if told is None:
        return Cell(UNKNOWN)
    low, high = rounded(told.low, 2, "down"), rounded(told.high, 2, "up")
    return Cell(f"{told.value:.2f}", f"95 %: {low} to {high}")


def _spread(panel: PanelFacts) -> Cell:
    if panel.spread_mm is None:
        return Cell(NOT_SEEN)
    return Cell(f"{rounded(panel.spread_mm)} mm")


def _race(panel: PanelFacts) -> Cell:
    front = panel.answer.front
    if panel.seen_by_pen or front.race_tracking_mm is None or not front.usable:
        return Cell(NOT_SEEN)
    return Cell(
        f"{rounded(front.race_tracking_mm)} mm", f"{100 * front.race_share:.0f} % of the way"
    )


def _dry(panel: PanelFacts) -> Cell:
    if panel.dry_share is None:
        return Cell(NOT_SEEN)
    if panel.dry_share == 0:
        return Cell("none seen")
    return Cell(f"{100 * panel.dry_share:.1f} % of the area")


def _uptake(panel: PanelFacts) -> Cell:
    if panel.uptake is None:
        return Cell(UNKNOWN)
    how = "weighed, lines included" if panel.uptake.weighed else "pores, worked out; not weighed"
    return Cell(f"{panel.uptake.kg_m2:.2f} kg/m2", how)


def _surface(panel: PanelFacts) -> Cell:
    return Cell("not filed" if panel.surface is None else panel.surface.words)


def _drawdown(panel: PanelFacts) -> Cell:
    rise = panel.drawdown_mbar_min
    return Cell(UNKNOWN if rise is None else f"{rise:.2f} mbar/min")


def difference_lines(found: Comparison) -> list[str]:
    """Write which differences are real and which are noise, a line for each quantity."""
    out = []
    for name, title in QUANTITIES.items():
        pairs = found.differences[name]
        real = [_pair_words(pair) for pair in pairs if pair.real]
        noise = [pair for pair in pairs if not pair.real]
        if len(pairs) > MANY_PAIRS and noise:
            rest = [", ".join(f"{one.first}-{one.second}" for one in noise) + " not proven"]
        else:
            rest = [_pair_words(pair) for pair in noise]
        if pairs:
            out.append(f"{title}: {'; '.join([*real, *rest])}.")
    return out or ["Fewer than two set-ups have numbers to compare."]


def _pair_words(pair: Difference) -> str:
    """Write one pair: how many times the one has that of the other, and whether that is real."""
    ratio, high, low = pair.ratio, pair.second, pair.first
    if ratio < 1.0:
        ratio, high, low = 1.0 / ratio, low, high
    if ratio < 1.005:
        return f"{low} and {high} alike"
    places = 2
    while places < 4 and rounded(ratio, places) == rounded(pair.needed, places):
        places += 1
    word = "REAL" if pair.real else "not proven"
    told = f"{high} {rounded(ratio, places)} times {low}"
    return f"{told}, {word} (noise makes up to {rounded(pair.needed, places)} times)"


def scatter_line(found: Comparison) -> str:
    """Write what counts as noise, and how much."""
    share = f"{100 * found.scatter:.0f} %"
    whose = (
        "as your own repeats scatter"
        if found.scatter_own
        else "as taken here: like panels of one shop scatter by 8 to 12 %"
    )
    return (
        f"Noise is what the intervals leave open and the scatter between like panels ({share} in "
        f"K, {whose}). One in twenty comparisons of like set-ups calls some pair different by "
        "chance. More panels of a set-up say more; panels of two shops scatter by 30 to 45 %."
    )


def ranking_lines(found: Comparison) -> list[str]:
    """Write the order for the user's wish, with what each costs."""
    ranking = found.ranking
    wish = {"margin": "most margin to gel", "surface": "best surface", "resin": "least resin"}
    out = []
    for i, place in enumerate(ranking.places, start=1):
        tie = (
            ""
            if i == 1 or not place.tied
            else f"; not proven worse than {ranking.places[0].letter}"
        )
        costs = f"; {place.costs}" if place.costs else ""
        out.append(f"{i}. {place.letter}: {place.value}{tie}{costs}")
    if not ranking.places:
        out.append(f"No set-up can be ranked by {wish[ranking.wish]}.")
    out += [f"Not ranked: {letter}: {why}" for letter, why in ranking.unranked]
    return out + [_sentence(note) for note in ranking.notes]


def ranking_head(found: Comparison) -> str:
    """Write the answer to the wish in one sentence."""
    ranking = found.ranking
    wish = {"margin": "Most margin to gel", "surface": "Best surface", "resin": "Least resin"}
    if not ranking.places:
        return f"{wish[ranking.wish]}: cannot be told."
    name = {setup.letter: setup.name for setup in found.setups}
    best = ranking.places[0]
    tied = [place.letter for place in ranking.places[1:] if place.tied]
    if tied:
        return (
            f"{wish[ranking.wish]}: {best.letter} by the numbers, {best.value}, but not proven "
            f"better than {' and '.join(tied)}."
        )
    if len(ranking.places) == 1:
        return f"{wish[ranking.wish]}: only {best.letter} ({name[best.letter]}) can be ranked."
    return f"{wish[ranking.wish]}: {best.letter} ({name[best.letter]}), {best.value}."


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def csv_values(label: str, panel: PanelFacts, one: PanelNumbers) -> Mapping[str, Any]:
    """Return one panel as columns with units in their names; None where not known."""
    front, surface = panel.answer.front, panel.surface
    pen = panel.seen_by_pen
    return {
        "panel": label,
        "name": panel.name,
        "folder": str(panel.folder),
        "date": panel.date or None,
        "stack": stack_words(panel),
        "flow_media": media_words(panel),
        "verdict": panel.answer.verdict,
        "left_out": panel.left_out or None,
        **_ends("k", one.k, "_m2"),
        **_ends("fill_time", one.time, "_s"),
        **_ends("fill_time_alike", one.time_alike, "_s"),
        **_ends("margin", one.margin, ""),
        "front_spread_mm": panel.spread_mm,
        "race_tracking_mm": None if pen else front.race_tracking_mm,
        "dry_share": panel.dry_share,
        "uptake_kg_m2": None if panel.uptake is None else panel.uptake.kg_m2,
        "uptake_weighed": None if panel.uptake is None else panel.uptake.weighed,
        "surface_grade_1_best": None if surface is None else surface.grade,
        "surface": None if surface is None else surface.words,
        "drawdown_mbar_min": panel.drawdown_mbar_min,
    }


def _ends(name: str, told: Estimate | None, unit: str) -> dict[str, float | None]:
    return {
        f"{name}{unit}": None if told is None else told.value,
        f"{name}_low{unit}": None if told is None else told.low,
        f"{name}_high{unit}": None if told is None else told.high,
    }
