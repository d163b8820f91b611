"""What the screen of a part shows, and how it is written in the terminal.

Tested in tests/analysis/watch/part/test_run.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.forecast.panel_text import text_lines
from analysis.infusion.answer.run_text import opening_words
from analysis.infusion.learn.learnt import Learnt
from analysis.infusion.outlook.numbers import PartNumbers
from analysis.watch.board import Board, clock_text
from analysis.watch.part.alarms import alarm_texts
from analysis.watch.part.good_runs import BesideGood
from analysis.watch.part.lines import part_lines

KEYS = (
    "Type and press Enter:  o resin open   f next feed open   v NUMBER vent clamped   "
    "u take back f or v   c clamp now   n TEXT note   g MBAR gauge   e end run"
)
MOST_ALARMS = 4


@dataclass(frozen=True)
class PartBoard(Board):
    """A part's board: that of a panel, with numbers of its own.

    Attributes
    ----------
    part : PartNumbers
    learning : str
        Why the plan could not be corrected; empty when it could, or nothing was tried.
    learnt : Learnt or None
        The plan as corrected.
    opened, shut : tuple of str
        Later feeds that were noted as open, and vents that were clamped.
    gauge : (float, float) or None
        The latest gauge reading: Unix time and mbar absolute in the bag.
    beside : BesideGood or None
        The run beside good ones; None without any.
    """

    part: PartNumbers = field(default_factory=PartNumbers)
    learning: str = ""
    learnt: Learnt | None = None
    opened: tuple[str, ...] = ()
    shut: tuple[str, ...] = ()
    gauge: tuple[float, float] | None = None
    beside: BesideGood | None = None

    @property
    def has_front(self) -> bool:
        """Whether anything is seen to be wet."""
        return bool(self.part.wetted_share)


def part_board_lines(board: PartBoard, elapsed_s: float | None) -> list[str]:
    """Write a part's board as a few lines of text, alarms first.

    Parameters
    ----------
    board : PartBoard
    elapsed_s : float or None
        Seconds since resin start.
    """
    lines = [f"{board.name}: {board.state}" + (f". {board.todo}" if board.todo else "")]
    lines += alarm_texts(board.alarms[:MOST_ALARMS])
    if len(board.alarms) > MOST_ALARMS:
        lines.append(f" ! CHECK: {len(board.alarms) - MOST_ALARMS} more alarms")
    if elapsed_s is not None:
        how = "stamped" if board.start_stamped else "from part.toml or the pictures"
        lines.append(f"Clock:      {clock_text(elapsed_s)} since resin start ({how})")
        lines += part_lines(board.part)
        if board.beside is not None:
            lines.append(f"Good runs:  {board.beside.text}; {board.beside.places_text}")
        openings = () if board.learnt is None else board.learnt.openings
        lines += [
            f"Feed:       {opening_words(one)[0]}" for one in openings if one.noted and one.other
        ]
        if board.learning:
            lines.append(f"Learning:   {board.learning}")
    elif board.drawdown[1]:
        verdict = f"{board.drawdown[0].upper()}: " if board.drawdown[0] else ""
        lines.append(f"Drawdown:   {verdict}{board.drawdown[1]}")
    if board.opened:
        lines.append(f"Open:       {', '.join(board.opened)}")
    if board.shut:
        lines.append(f"Clamped:    {', '.join(board.shut)}")
    if board.gauge is not None:
        lines.append(f"Gauge:      {board.gauge[1]:.1f} mbar in the bag")
    lines.append(f"Pictures:   {board.frames} from {board.camera}")
    return [*lines, *text_lines(board.final)]
