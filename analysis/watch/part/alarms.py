"""What is wrong at a part while it fills: those of its own, beside the ones it shares with panels.

Gel, a lost camera, vacuum and the like are those of `analysis.watch.alarms`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.ahead.next_feed import OPEN, NextFeed
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.standstill import Standstill
from analysis.infusion.outlook.words import left_text, where_text
from analysis.watch.alarms import ACT, LOOK, Alarm
from vision.common.rounding import minutes


def part_alarms(now: PartNumbers, before: PartNumbers | None = None) -> list[Alarm]:
    """List what is wrong with the part itself, the most urgent first.

    Parameters
    ----------
    now : PartNumbers
    before : PartNumbers, optional
        Of the look before: an area that is still to be cut off is an alarm once two looks have
        it. Left out, one look is enough.
    """
    if now.left is None or now.left.filled:
        return []
    found = [_cut_off(cut) for cut in now.cut_offs if before is None or _again(cut, before)]
    if now.standstill is not None:
        found.append(_standstill(now.standstill))
    found += [_feed(feed) for feed in now.feeds[:1] if feed.state == OPEN]
    return sorted(found, key=lambda alarm: alarm.level != ACT)


def _again(cut: CutOff, before: PartNumbers) -> bool:
    return any(bool((cut.cells & other.cells).any()) for other in before.cut_offs)


def _cut_off(cut: CutOff) -> Alarm:
    where = where_text(cut)
    hidden = " Most of it is hidden: look at the part itself." if cut.hidden else ""
    place = f"closed x {cut.x_mm:.0f} y {cut.y_mm:.0f}"
    if cut.closed and not cut.likely:
        text = "An area may be cut off from every vent already"
        return Alarm(place, LOOK, text, f"{where}. It was not seen: look at the part itself.")
    if cut.closed:
        todo = f"{where}. Put a vent there if the bag allows it, or note a dry spot.{hidden}"
        return Alarm(place, ACT, "An area is cut off from every vent", todo)
    key = f"cut off {cut.x_mm // 100:.0f} {cut.y_mm // 100:.0f}"
    if cut.likely:
        text = f"An area will be cut off from every vent in {left_text(cut)}"
        todo = f"{where}. Slow the resin that closes it in, or open a vent there.{hidden}"
        return Alarm(key, ACT, text, todo)
    text = f"An area may be cut off from every vent in {left_text(cut)}"
    return Alarm(key, LOOK, text, f"{where}. Watch the front there.{hidden}")


def _feed(feed: NextFeed) -> Alarm:
    todo = "Open it when your plan says so, then note it."
    return Alarm(f"feed {feed.name}", LOOK, f"The front is past all of {_name(feed)}", todo)


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
