"""What is wrong at a part while it fills: those of its own, beside the ones it shares with panels.

Gel, a lost camera, vacuum and the like are those of `analysis.watch.alarms`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.ahead.next_feed import AT_WORK, OPEN, NextFeed
from analysis.infusion.learn.learnt import SHUT, Opening
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.standstill import Standstill
from analysis.infusion.outlook.words import left_text, where_text
from analysis.watch.alarms import ACT, LOOK, Alarm
from vision.common.rounding import minutes
from vision.records import BoolArray


@dataclass(frozen=True)
class KnownArea:
    """A dry area that was told of, under a number that it keeps as it moves and shrinks.

    Attributes
    ----------
    number : int
    cells : ndarray of shape (n,), bool
        Of the last look that had it.
    """

    number: int
    cells: BoolArray


def with_areas(known: Sequence[KnownArea], cuts: Sequence[CutOff]) -> tuple[KnownArea, ...]:
    """Return the areas known so far with those of a look.

    Parameters
    ----------
    known : sequence of KnownArea
    cuts : sequence of CutOff
        Of a look; each is the known area that it shares most cells with, or a new one.
    """
    areas = {area.number: area.cells for area in known}
    for number, cut in zip(area_numbers(known, cuts), cuts, strict=True):
        areas[number] = cut.cells
    return tuple(KnownArea(number, cells) for number, cells in areas.items())


def area_numbers(known: Sequence[KnownArea], cuts: Sequence[CutOff]) -> list[int]:
    """Return the number of each area of a look; no two of them have the same."""
    shared = [
        (int(np.count_nonzero(area.cells & cut.cells)), -area.number, k)
        for area in known
        for k, cut in enumerate(cuts)
    ]
    found: dict[int, int] = {}
    for count, name, k in sorted(shared, reverse=True):
        if count and k not in found and -name not in found.values():
            found[k] = -name
    fresh = max((area.number for area in known), default=0)
    for k in range(len(cuts)):
        if k not in found:
            fresh += 1
            found[k] = fresh
    return [found[k] for k in range(len(cuts))]


def part_alarms(
    now: PartNumbers, before: PartNumbers | None = None, known: Sequence[KnownArea] = ()
) -> list[Alarm]:
    """List what is wrong with the part itself, the most urgent first.

    Parameters
    ----------
    now : PartNumbers
    before : PartNumbers, optional
        Of the look before: an area that is still to be cut off is an alarm once two looks have
        it. Left out, one look is enough.
    known : sequence of KnownArea
        Areas told of before, so that each keeps its key.
    """
    if now.left is None or now.left.filled:
        return []
    found = [
        _cut_off(cut, number)
        for number, cut in zip(area_numbers(known, now.cut_offs), now.cut_offs, strict=True)
        if before is None or _again(cut, before)
    ]
    if now.standstill is not None:
        found.append(_standstill(now.standstill))
    found += [_feed(feed) for feed in now.feeds if feed.state == OPEN]
    found += [_at_work(feed) for feed in now.feeds if feed.state == AT_WORK]
    return sorted(found, key=lambda alarm: alarm.level != ACT)


def _again(cut: CutOff, before: PartNumbers) -> bool:
    return any(bool((cut.cells & other.cells).any()) for other in before.cut_offs)


def _cut_off(cut: CutOff, number: int) -> Alarm:
    where = where_text(cut)
    hidden = " Most of it is hidden: look at the part itself." if cut.hidden else ""
    if cut.closed and not cut.likely:
        text = "An area may be cut off from every vent already"
        todo = f"{where}. It was not seen: look at the part itself."
        return Alarm(f"may be closed {number}", LOOK, text, todo)
    if cut.closed:
        todo = f"{where}. Put a vent there if the bag allows it, or note a dry spot.{hidden}"
        return Alarm(f"closed {number}", ACT, "An area is cut off from every vent", todo)
    if cut.likely:
        text = f"An area will be cut off from every vent in {left_text(cut)}"
        todo = f"{where}. Slow the resin that closes it in, or open a vent there.{hidden}"
        return Alarm(f"cut off {number}", ACT, text, todo)
    text = f"An area may be cut off from every vent in {left_text(cut)}"
    return Alarm(f"may be cut off {number}", LOOK, text, f"{where}. Watch the front there.{hidden}")


def _feed(feed: NextFeed) -> Alarm:
    todo = "Open it when your plan says so, then note it."
    return Alarm(f"feed {feed.name}", LOOK, f"The front is past all of {_name(feed)}", todo)


def _at_work(feed: NextFeed) -> Alarm:
    text = f"Resin seems to come from {_name(feed)}, which is not noted as open"
    todo = "If it is open, note it (f): the forecast goes by that. If not, see its clamp and hose."
    return Alarm(f"at work {feed.name}", LOOK, text, todo)


def no_resin_alarms(openings: Sequence[Opening]) -> list[Alarm]:
    """List feeds that should be open, by a note or from the start, and that give no resin."""
    todo = (
        "See its clamp, hose and tap, and the resin in its pot; a note that it is open is taken "
        "back with u. The forecast takes it as shut."
    )
    return [
        Alarm(f"no resin {one.name}", LOOK, f"No resin seems to come from {one.name}", todo)
        for one in openings
        if one.state == SHUT and (one.noted or one.said_s <= 0)
    ]


def _standstill(still: Standstill) -> Alarm:
    text = f"The front stands still at {100 * still.share:.0f} % wet since {minutes(still.since_s)}"
    todo = (
        f"By the plan {100 * still.due:.0f} % more should be wet. Look for an empty pot, a pinched "
        "line, a shut feed, a leak, shut-in air, or resin that gels."
    )
    return Alarm("stall", ACT, text, todo)


def unnoted_feeds(due_s: Mapping[str, float], opened: Collection[str], now_s: float) -> list[Alarm]:
    """List feeds that the plan has open by now and that nobody noted.

    Parameters
    ----------
    due_s : mapping of str to float
        When the plan opens each, in seconds since resin start.
    opened : collection of str
        Noted as open.
    now_s : float
        Seconds since resin start.
    """
    return [
        _unnoted(name, at_s) for name, at_s in due_s.items() if name not in opened and at_s < now_s
    ]


def _unnoted(name: str, at_s: float) -> Alarm:
    text = f"A feed is not noted as open: by the plan {name} opens at {minutes(at_s)}"
    todo = "The forecast takes it as open. Look at the front there, and note it once it is."
    return Alarm(f"due {name}", LOOK, text, todo)


def _name(feed: NextFeed) -> str:
    return feed.name or "the next feed"


def alarm_texts(alarms: Sequence[Alarm], muted: Collection[str] = ()) -> list[str]:
    """Write alarms as lines, muted ones left out.

    Examples
    --------
    >>> alarm_texts([Alarm("a", LOOK, "Camera moved", "Clamp it.")])
    [' ! CHECK: Camera moved. Clamp it.']
    """
    marks = {ACT: "!! ACT NOW", LOOK: " ! CHECK"}
    return [f"{marks[a.level]}: {a.text}. {a.todo}" for a in alarms if a.key not in muted]
