"""What a part's board would be told, made up."""

from dataclasses import replace

import numpy as np

from analysis.infusion.ahead.cut_offs import CutOff
from analysis.infusion.ahead.next_feed import AT_WORK, OPEN, NextFeed
from analysis.infusion.ahead.time_left import TimeLeft
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.infusion.outlook.standstill import Standstill
from analysis.runs.part_repeat.places import OddPlace
from analysis.watch.part.good_runs import BesideGood

LEFT = TimeLeft(0.4, 1200.0, 1100.0, 1400.0, False, 2000.0, 800.0, "yes")
"""Ten minutes to go at 600 s."""


def cut_off(first=0, likely=True, closed=False, hidden=False, minutes_left=5.0):
    """An area of 120 cm2 that is to be cut off at 900 s; `first` is the first of its cells."""
    cells = np.zeros(10, bool)
    cells[first : first + 3] = True
    return CutOff(
        400.0, 250.0, 12_000.0, 900.0, 840.0, 990.0, minutes_left, 4.0, 6.5, closed, likely, 1.0,
        hidden, cells,
    )  # fmt: skip


def every_part_alarm():
    """Numbers that raise each of a part's alarms once."""
    cuts = (
        cut_off(),
        cut_off(3, likely=False),
        cut_off(6, closed=True),
        cut_off(9, closed=True, likely=False),
    )
    feed = NextFeed("second line", OPEN, 500.0, 0.0, 0.0, "")
    working = NextFeed("third line", AT_WORK, 500.0, 0.0, 0.0, "")
    still = Standstill(0.42, 300.0, 0.1)
    return PartNumbers(
        0.6, 0.01, 1.2, left=LEFT, cut_offs=cuts, feeds=(feed, working), last_s=600.0,
        standstill=still,
    )  # fmt: skip


def beside_with_odd_places():
    """A run beside good ones that has a place that is late and one that is early."""
    cells = np.arange(10) < 3
    late = OddPlace(cells, "at the right edge", "by left line", 500.0, 150.0, 9e3, 95.0, 1.3, False)
    early = replace(late, late_s=-60.0, ratio=0.8, where="at the top")
    text = "2 % of the part behind 3 good runs, inside their band (50 to 60 % wet by now)"
    return BesideGood(text, -2.0, 50.0, 60.0, True, "late at the right edge", (late, early))
