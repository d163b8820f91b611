"""The board in the terminal: a few steady lines, renewed in place."""

from __future__ import annotations

import shutil
import sys
import textwrap
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import IO, Any, TextIO

from analysis.forecast.panel_text import text_lines
from analysis.panel.tables.gauge_units import typed_bag_mbar
from analysis.watch.alarms import ACT
from analysis.watch.board import ENDED, Board, clock_text, end_text, gel_text, width_text
from analysis.watch.run import Watch
from vision.settings.event_log import CLAMP, NOTE, RESIN_OPEN

KEYS = "Type and press Enter:  o resin open   c clamp now   n TEXT note   g MBAR gauge   e end run"
PLAIN_EVERY_S = 60.0
ANSWER_S = 12.0
"""How long an answer to what was typed stays on the screen."""
INDENT = 12
_UP, _CLEAR = "\x1b[{}A", "\x1b[2K"


def board_lines(board: Board, elapsed_s: float | None) -> list[str]:
    """Write the board as a few lines of text, alarms first.

    Parameters
    ----------
    board : Board
    elapsed_s : float or None
        Seconds since resin start.
    """
    lines = [f"{board.name}: {board.state}" + (f". {board.todo}" if board.todo else "")]
    for alarm in board.alarms[:3]:
        mark = "!! ACT NOW" if alarm.level == ACT else " ! CHECK"
        lines.append(f"{mark}: {alarm.text}. {alarm.todo}")
    front = board.numbers.front
    if front is not None:
        speed = "" if front.speed_mm_min is None else f", {front.speed_mm_min:.1f} mm/min"
        settling = "" if front.settled else " (settling)"
        lines.append(
            f"Front:      {front.mean_mm:.0f} of {front.length_mm:.0f} mm{settling}, "
            f"{width_text(front)}{speed}"
        )
    if elapsed_s is not None:
        how = "stamped" if board.start_stamped else "found from the pictures"
        lines.append(f"Clock:      {clock_text(elapsed_s)} since resin start ({how})")
        lines.append(f"End:        {end_text(board, elapsed_s)}")
    lines.append(f"Gel:        {gel_text(board, elapsed_s)}")
    if board.numbers.beside is not None:
        lines.append(f"Good runs:  {board.numbers.beside.text}")
    if elapsed_s is None and board.drawdown[1]:
        verdict = f"{board.drawdown[0].upper()}: " if board.drawdown[0] else ""
        lines.append(f"Drawdown:   {verdict}{board.drawdown[1]}")
    lines.append(f"Pictures:   {board.frames} from {board.camera}")
    return [*lines, *text_lines(board.final)]


NO_KEYS = (
    "Keys are not read here: what is piped in is no terminal, and is passed over. Start it in a "
    "terminal to type o, c or e, or add --page and press the buttons there."
)


@dataclass(frozen=True)
class Layout:
    """How a board is written, and the keys there are; of a panel unless another is given."""

    write: Callable[[Any, float | None], list[str]] = board_lines
    keys: str = KEYS


PANEL = Layout()


class Screen:
    """Draws the board over and over in the same place, or says little where it cannot."""

    def __init__(self, out: TextIO, quiet: bool = False, layout: Layout = PANEL) -> None:
        self._out, self._quiet, self._layout = out, quiet, layout
        self._tall = 0
        self._answer, self._answered_at = "", -float("inf")
        self._lock = threading.Lock()
        self._said_at = -float("inf")
        self._said: tuple[str, ...] = ()
        self.in_place = bool(getattr(out, "isatty", lambda: False)()) and not quiet

    def show(self, board: Board, elapsed_s: float | None, now_s: float) -> None:
        """Show the board as it stands."""
        lines = self._layout.write(board, elapsed_s)
        if self.in_place:
            answered = now_s - self._answered_at < ANSWER_S
            with self._lock:
                self._draw([*lines, self._layout.keys, self._answer if answered else ""])
            return
        alarms = tuple(alarm.text for alarm in board.alarms)
        due = now_s - self._said_at >= PLAIN_EVERY_S and not self._quiet
        if due or set(alarms) - set(self._said) or board.state == ENDED:
            self._said_at, self._said = now_s, alarms
            self._out.write("\n".join(lines) + "\n")
            self._out.flush()

    def typed(self, answer: str, now_s: float) -> None:
        """Take note of a line that was typed, which moved the screen, and show what is answered."""
        if not self.in_place:
            if answer:
                self._out.write(f"{answer}\n")
                self._out.flush()
            return
        with self._lock:
            self._tall += 1
            self._answer, self._answered_at = answer, now_s

    def _draw(self, lines: list[str]) -> None:
        size = shutil.get_terminal_size()
        lines = fitted(lines, size.columns, size.lines)
        up = _UP.format(self._tall) if self._tall else ""
        extra = max(0, self._tall - len(lines))
        text = up + "".join(f"\r{_CLEAR}{line}\n" for line in lines)
        text += f"\r{_CLEAR}\n" * extra + (_UP.format(extra) if extra else "")
        self._tall = len(lines)
        self._out.write(text)
        self._out.flush()


def fitted(lines: list[str], columns: int, rows: int) -> list[str]:
    """Return lines broken to a screen's width, and no more of them than it has rows.

    Examples
    --------
    >>> fitted(["Clock:      0:18 since resin start", "Gel:        at 90:00"], 26, 24)
    ['Clock:      0:18 since', '            resin start', 'Gel:        at 90:00']
    >>> fitted(["one", "two", "three"], 26, 3)
    ['one', '...']
    """
    indent = " " * INDENT if columns > 2 * INDENT else ""
    out: list[str] = []
    for line in lines:
        out += textwrap.wrap(line, max(columns - 1, 1), subsequent_indent=indent) or [""]
    return out if len(out) < rows else [*out[: max(rows - 2, 0)], "..."]


def run_command(watch: Watch, line: str, keys: str = KEYS) -> str:
    """Do what a typed line says; return what to answer, empty when all is well."""
    word, _, rest = line.strip().partition(" ")
    word = word.lower()
    if word == "o":
        watch.stamp(RESIN_OPEN)
    elif word == "c":
        watch.stamp(CLAMP)
    elif word == "n" and rest.strip():
        watch.stamp(NOTE, rest)
    elif word == "e":
        watch.end()
    elif word == "g":
        return _gauge(watch, rest)
    elif word:
        return keys
    return ""


def _gauge(watch: Watch, text: str) -> str:
    """Take a gauge reading; what it was understood as is answered where that is not plain."""
    ambient_mbar = watch.ambient_mbar
    try:
        bag_mbar = typed_bag_mbar(text, ambient_mbar)
    except ValueError:
        return "g needs a number, such as g 12.5 (mbar absolute) or g 29 inHg"
    plain = text.strip().replace(",", ".").replace(".", "", 1).isdigit()
    if plain and bag_mbar > ambient_mbar / 2:
        return (
            f"not noted: {bag_mbar:.0f} mbar in the bag is hardly a vacuum; for a gauge counting "
            f"down from the air type g -{bag_mbar:.0f}; if it is true, g {bag_mbar:.0f} mbar"
        )
    watch.gauge(bag_mbar)
    return "" if plain else f"understood as {bag_mbar:.1f} mbar in the bag"


def listen(
    watch: Watch,
    keys: IO[str],
    typed: Callable[[str], None],
    more: Mapping[str, Callable[[str], str]] | None = None,
    layout: Layout = PANEL,
) -> threading.Thread:
    """Obey typed lines in the background, on every system alike.

    Parameters
    ----------
    watch : Watch
    keys : text file
        What is typed, line by line.
    typed : callable
        Given the answer to each line, empty where there is none.
    more : mapping of str to callable, optional
        Words of a run's own; each is given the rest of the line and returns the answer.
    layout : Layout
    """
    from vision.errors import WetlineError

    def work() -> None:
        for line in keys:
            try:
                word, _, rest = line.strip().partition(" ")
                own = (more or {}).get(word.lower())
                answer = run_command(watch, line, layout.keys) if own is None else own(rest.strip())
            except WetlineError as error:
                answer = str(error)
            typed(answer)

    thread = threading.Thread(target=work, name="keys", daemon=True)
    thread.start()
    return thread


def run_in_terminal(
    watch: Watch,
    quiet: bool = False,
    out: TextIO | None = None,
    more: Mapping[str, Callable[[str], str]] | None = None,
    layout: Layout = PANEL,
) -> Board:
    """Watch until the run ends or the user stops it; give the last board."""
    import time

    shown, heard = out or sys.stderr, sys.stdin is not None and sys.stdin.isatty()
    if not heard:
        layout = replace(layout, keys="")
        shown.write("" if quiet else f"{NO_KEYS}\n")
    screen = Screen(shown, quiet, layout)
    if heard:
        listen(watch, sys.stdin, lambda text: screen.typed(text, time.monotonic()), more, layout)
    watch.start()
    while watch.board.state != ENDED:
        screen.show(watch.board, watch.elapsed_s(), time.monotonic())
        watch.wait_for(-1, 0.0)
        time.sleep(0.5 if screen.in_place else 0.2)
    screen.show(watch.board, watch.elapsed_s(), time.monotonic())
    return watch.board
