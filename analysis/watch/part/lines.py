"""A part's board as a few lines of text."""

from __future__ import annotations

import math

from analysis.infusion.ahead.next_feed import first_to_tell
from analysis.infusion.ahead.time_left import TimeLeft
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.words import cut_off_text, not_seen_text
from analysis.watch.board import clock_text


def part_lines(numbers: PartNumbers) -> list[str]:
    """Write what is wet, what is left, the next feed and what may be cut off.

    Parameters
    ----------
    numbers : PartNumbers
    """
    if numbers.cannot:
        return [f"Front:      cannot be made out: {numbers.cannot}"]
    if numbers.left is None or numbers.wetted_share is None:
        return []
    lines = [_wet(numbers), f"Left:       {left_of(numbers.left, numbers.last_s)}"]
    lines.append(f"Gel:        {gel_of(numbers.left)}")
    if not numbers.left.filled:
        told = first_to_tell(numbers.feeds, numbers.last_s)
        lines += [f"Next feed:  {feed.text}" for feed in told]
    lines += [f"Air:        {cut_off_text(cut)}" for cut in numbers.cut_offs]
    if numbers.not_seen is not None:
        lines.append(f"Not seen:   {not_seen_text(numbers.not_seen)}")
    if not numbers.learnt:
        lines.append("Forecast:   from the plan alone, scaled to the front as seen")
    return [*lines, *(f"Doubt:      {doubt}" for doubt in numbers.doubts)]


def _wet(numbers: PartNumbers) -> str:
    share = numbers.wetted_share or 0.0
    doubt = "" if numbers.wetted_sd is None else f" +- {200 * numbers.wetted_sd:.1f}"
    text = f"Wet:        {100 * share:.0f}{doubt} % of the part"
    if numbers.resin_in_kg is not None:
        text += f", about {numbers.resin_in_kg:.2f} kg of resin in it"
    if numbers.hidden_share >= 0.005:
        text += f"; {100 * numbers.hidden_share:.0f} % hidden"
    return text


def left_of(left: TimeLeft, now_s: float) -> str:
    """Write how much is left and until when.

    Examples
    --------
    >>> left_of(TimeLeft(0.4, 1200.0, 1100.0, 1400.0, False, None, None, "not known"), 600.0)
    '40 % dry, until 20:00 (18:20 to 23:20), in 10:00'
    """
    if left.filled:
        return f"nothing: full at {clock_text(left.end_s)}"
    share = f"{100 * left.left_share:.0f} % dry"
    if not math.isfinite(left.end_s):
        return f"{share}; some of it is never reached by the forecast"
    band = f"{clock_text(left.low_s)} to {clock_text(left.high_s)}"
    return f"{share}, until {clock_text(left.end_s)} ({band}), in {clock_text(left.end_s - now_s)}"


def gel_of(left: TimeLeft) -> str:
    """Write when the resin gels and whether the part is full by then.

    Examples
    --------
    >>> gel_of(TimeLeft(0.4, 1200.0, 1100.0, 1400.0, False, 1300.0, 100.0, "perhaps"))
    'at 21:40: may come before the part is full'
    """
    if left.gel_s is None:
        return "no gel time in part.toml"
    said = {
        "yes": "after the part is full",
        "perhaps": "may come before the part is full",
        "no": "BEFORE the part is full",
    }
    return f"at {clock_text(left.gel_s)}: {said[left.before_gel]}"
