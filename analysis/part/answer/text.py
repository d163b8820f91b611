"""The answer for a part in plain words: rows that terminal and page are both drawn from.

Tested in tests/analysis/commands/test_part.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.part.answer.part_answer import PartAnswer
from analysis.part.search.advice import LayoutAdvice, SearchAdvice, SpacingAdvice
from vision.common.rounding import minutes
from vision.records import FloatArray

NAME_WIDTH = 13
SEARCH_CAUTION = (
    "Feeds here all open at once. A feed line or a vent on the show side can print through; faster "
    "filling can cost surface finish."
)

LEVEL_CAUTION = "The search itself takes the part as level; the times shown have its slope in them."


@dataclass(frozen=True)
class Row:
    """One fact in words.

    Attributes
    ----------
    name : str
        What it is about.
    text : str
    more : tuple of str
        Further lines that belong to it.
    """

    name: str
    text: str
    more: tuple[str, ...] = ()


def headline(answer: PartAnswer) -> str:
    """Return the verdict in one line."""
    return f"{answer.name}: {verdict_word(answer)}. {sentence(answer.reason)}"


def verdict_word(answer: PartAnswer) -> str:
    """Return the verdict in capitals; where it may gel first, that stands first."""
    word = answer.verdict.upper()
    return f"MAY GEL FIRST ({word})" if answer.may_gel_first else word


def sentence(text: str) -> str:
    """Return a text as a sentence.

    Examples
    --------
    >>> sentence("the resin gels first")
    'The resin gels first.'
    """
    return f"{text[:1].upper()}{text[1:]}."


def rows(answer: PartAnswer) -> list[Row]:
    """Return what was found, row by row, without notes and cautions."""
    grid = answer.filling.links.grid
    size = f"{grid.nx * grid.dx_mm:.0f} x {grid.ny * grid.dy_mm:.0f} mm"
    found = [
        Row(
            "Part",
            f"{size}, {answer.area_m2:.3g} m2, {answer.cells} cells; x runs right, y runs "
            f"{answer.y_runs}",
        ),
        *_times(answer),
        Row(
            "Last spot",
            f"x {answer.last_spot_mm[0]:.0f} mm, y {answer.last_spot_mm[1]:.0f} mm",
        ),
    ]
    if answer.margin is not None and np.isfinite(answer.fill_time_s):
        work = minutes(answer.working_time_s or 0.0, "down")
        found.append(Row("Margin", f"{answer.margin:.2f} (working time {work} over fill time)"))
    for before, stage in pairwise(answer.stages):
        new = [name for name in stage.feeds if name not in before.feeds]
        shut = [name for name in before.feeds if name not in stage.feeds]
        turns = [(new, "opens"), (shut, "closes")]
        words = [f"{' and '.join(names)} {what}" for names, what in turns if names]
        found.append(Row("Feeds", f"at {minutes(stage.starts_s)} {', '.join(words)}"))
    return [*found, *_air(answer), *_resin(answer), *_changes(answer)]


def _times(answer: PartAnswer) -> list[Row]:
    """Return the fill time with its interval, and what the interval holds."""
    time, low = minutes(answer.vented_time_s), minutes(answer.vented_time_low_s, "down")
    span = f"{time} (95 %: {low} to {minutes(answer.vented_time_high_s, 'up')})"
    sources = ", ".join(f"{one.name} {_percent(one.low, one.high)}" for one in answer.doubts)
    first = f"never: air is trapped; with a vent there {span}" if answer.trapped else span
    return [Row("All wet", first), Row("Doubt", f"{sources}" or "none stated")]


def _percent(low: float, high: float) -> str:
    """Return the ends of a factor as percent.

    Examples
    --------
    >>> _percent(0.9, 1.2), _percent(1.0, 1.07)
    ('-10 to +20 %', '0 to +7 %')
    """
    below = f"{100 * (low - 1):.0f}" if low < 0.995 else "0"
    return f"{below} to +{100 * (high - 1):.0f} %"


def _air(answer: PartAnswer) -> list[Row]:
    if not answer.trapped:
        return [Row("Air", "every dry area keeps a vent until it is wet")]
    found = []
    for spot in answer.trapped:
        ends = " and ".join(f"(x {x:.0f} mm, y {y:.0f} mm)" for x, y in spot.ends_mm)
        found.append(
            Row(
                "Air trapped",
                f"{spot.area_mm2 / 100:.0f} cm2 lose their vent at {minutes(spot.time_s)}; the air "
                f"ends at {ends}: put a vent {'there' if len(spot.ends_mm) == 1 else 'at each'}",
            )
        )
    return found


def _changes(answer: PartAnswer) -> list[Row]:
    """Return what to change so that the part fills in time."""
    found = [Row("To gain time", f"{change.name}: {change.say}") for change in answer.changes]
    if answer.changes and not any(change.enough for change in answer.changes):
        found.append(
            Row("To gain time", "none of these is enough alone: add feed lines or shorten the run")
        )
    return found


def _resin(answer: PartAnswer) -> list[Row]:
    return [
        Row(
            "Resin",
            f"{answer.resin_kg:.3g} kg in the part; lines, media, bucket and waste come on top",
        ),
        Row(
            "Check",
            f"resin in and resin held agree within {max(100 * answer.mass_error, 1e-3):.1g} %",
        ),
    ]


def advice_rows(answer: PartAnswer) -> list[Row]:
    """Return spacing of feed lines and ranked layouts, where they were asked for."""
    found: list[Row] = []
    if answer.spacing is not None:
        found += _spacing(answer.spacing)
    if answer.search is not None:
        found.append(_search(answer, answer.search))
    return found


def _spacing(advice: Sequence[SpacingAdvice]) -> list[Row]:
    if not advice:
        return [Row("Spacing", "no working time is known, so none can be said")]
    found = []
    for one in advice:
        head = f"lines along {one.along}: at most {one.plain_mm:.0f} mm apart"
        if one.lines is None:
            text = f"{head}; on this part a dozen are not enough"
        else:
            text = (
                f"{head} on a plain sheet; this part fills in working time with {one.lines}, "
                f"{one.spacing_mm:.0f} mm apart"
            )
        found.append(Row("Spacing", text))
    return found


def _search(answer: PartAnswer, search: SearchAdvice) -> Row:
    layouts = tuple(
        f"{k}. {layout_line(one, answer.gel_time_s)}"
        for k, one in enumerate(search.layouts, start=1)
    )
    feeds = search.layouts[0].feeds
    kind = "line" if len(feeds[0].points_mm) > 1 else "point"
    head = f"{len(feeds)} feed(s), {kind}, wish: {search.wish}"
    level = (LEVEL_CAUTION,) if answer.plan.slopes else ()
    return Row("Search", head, (*layouts, *level, SEARCH_CAUTION))


def layout_line(layout: LayoutAdvice, gel_s: float | None) -> str:
    """Return a layout of the search in one line."""
    late = "; gels first" if gel_s is not None and layout.fill_time_s > gel_s else ""
    vents = "; ".join(_where(vent.points_mm) for vent in layout.vents)
    if layout.trapped:
        air = f"TRAPS AIR in {layout.trapped} place(s)"
    elif layout.vents_moved:
        air = f"vents at {vents}"
    elif layout.vent_lag < 0.01:
        air = "vents wet last"
    else:
        x, y = layout.last_spot_mm
        air = f"last spot off the vents (x {x:.0f}, y {y:.0f})"
    where = "; ".join(_where(feed.points_mm) for feed in layout.feeds)
    return f"all wet {minutes(layout.fill_time_s)}{late}; {air}; feeds {where}"


def _where(points_mm: FloatArray) -> str:
    return " to ".join(f"({x:.0f}, {y:.0f})" for x, y in points_mm)


def lines(answer: PartAnswer) -> list[str]:
    """Return the answer as the terminal shows it."""
    notes = [Row("Note", text) for text in answer.notes]
    cautions = [Row("Caution", text) for text in answer.cautions]
    out = [headline(answer)]
    for row in [*rows(answer), *notes, *advice_rows(answer), *cautions]:
        out.append(f"{row.name:<{NAME_WIDTH}}{row.text}")
        out += [f"  {text}" for text in row.more]
    return out
