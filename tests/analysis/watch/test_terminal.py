"""The board in the terminal, and what is typed there."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.panel.gauge_readings import read_readings
from analysis.watch.board import ENDED, Board, Front, Gel, Numbers
from analysis.watch.end_forecast import EndForecast
from analysis.watch.terminal import (
    ANSWER_S,
    Screen,
    board_lines,
    fitted,
    run_command,
    run_in_terminal,
)
from tests.made_up.live_run import write_panel
from tests.made_up.live_shop import Shop
from vision.settings.event_log import read_stamps

NONE = np.zeros(0)
END = EndForecast(300.0, 750.0, 700.0, 800.0, NONE, NONE, NONE, NONE)
FRONT = Front(224.0, 220.0, 228.0, 0.5, True, 16.0, 300.0, False)
BOARD = Board(
    "Hatch cover strip",
    state="running",
    start_clock_s=1.0,
    start_stamped=True,
    numbers=Numbers(FRONT, np.array([420.0]), np.array([224.0]), END),
    gel=Gel(3600.0, 2520.0),
    camera="phone",
)


def test_board_in_words():
    lines = board_lines(BOARD, 420.0)
    assert lines[0] == "Hatch cover strip: running"
    assert "End:        in 5:30 (at 12:30; 95 %: 11:40 to 13:20)" in lines
    assert any("since resin start (stamped)" in line for line in lines)
    assert len(lines) <= 10


def test_hidden_edges_are_said_to_be_hidden_and_not_filled_with_the_mean():
    front = replace(FRONT, low_mm=None, high_mm=None)
    shown = board_lines(replace(BOARD, numbers=replace(BOARD.numbers, front=front)), 420.0)
    line = next(line for line in shown if line.startswith("Front:"))
    assert line == "Front:      224 of 300 mm, leading and trailing edge hidden, 16.0 mm/min"


def test_terminal_draws_in_place_and_says_little_elsewhere():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal, file = Terminal(), io.StringIO()
    steady, plain = Screen(terminal), Screen(file)
    for k in range(20):
        steady.show(BOARD, 420.0 + k, float(k))
        plain.show(BOARD, 420.0 + k, float(k))
    assert terminal.getvalue().count("\x1b[") > 20
    assert terminal.getvalue().count("A\r") == 19  # goes back up each time
    assert file.getvalue().count("Front:") == 1  # once a minute


def ups(text):
    """How far each redraw went up."""
    return [int(n) for n in re.findall(r"\x1b\[(\d+)A\r", text)]


def test_a_typed_line_leaves_nothing_behind_and_its_answer_stays_a_while():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal = Terminal()
    screen = Screen(terminal)
    screen.show(BOARD, 420.0, 0.0)
    screen.show(BOARD, 420.0, 0.5)
    screen.typed("noted: second line is open", 0.7)
    screen.show(BOARD, 420.0, 1.0)
    screen.show(BOARD, 420.0, 1.0 + ANSWER_S)
    first, second, third = ups(terminal.getvalue())
    assert second == first + 1  # the line that was typed
    assert third == first
    assert terminal.getvalue().count("noted: second line is open") == 1


def test_a_long_line_is_broken_and_a_low_screen_is_not_run_over():
    lines = ["!! ACT NOW: " + "word " * 40, *(f"Line {k}" for k in range(40))]
    out = fitted(lines, 60, 24)
    assert len(out) == 23
    assert out[-1] == "..."
    assert all(len(line) < 60 for line in out)
    broken = out[: out.index("Line 0")]
    assert " ".join(" ".join(broken).split()) == " ".join(lines[0].split())


def test_elsewhere_an_answer_is_a_line():
    file = io.StringIO()
    Screen(file).typed("noted", 0.0)
    Screen(file).typed("", 0.0)
    assert file.getvalue() == "noted\n"


@pytest.mark.parametrize("quiet", [False, True])
def test_commands_that_are_piped_in_are_passed_over_and_that_is_said(monkeypatch, quiet):
    class Ended:
        board = replace(BOARD, state=ENDED, final=())
        begun = False

        def start(self):
            self.begun = True

        def elapsed_s(self):
            return 420.0

    monkeypatch.setattr("sys.stdin", io.StringIO("o\ne\n"))
    watched, shown = Ended(), io.StringIO()
    run_in_terminal(watched, quiet, shown)
    assert watched.begun
    assert shown.getvalue().startswith("" if quiet else "Keys are not read here: ")
    assert ("Keys" in shown.getvalue()) == (not quiet)


def test_typed_keys(tmp_path):
    folder = write_panel(tmp_path / "p")
    with Shop(folder) as shop:
        assert run_command(shop.watch, "o\n") == ""
        assert run_command(shop.watch, "n pot changed\n") == ""
        assert run_command(shop.watch, "g 12,5") == ""
        assert "needs a number" in run_command(shop.watch, "g low")
        assert "not noted: 930 mbar" in run_command(shop.watch, "g 930")
        assert "needs a number" in run_command(shop.watch, "g nan")
        # 1 inHg = 33.86389 mbar (NIST SP 811, appendix B.8, from memory) below 1013.25 mbar.
        assert "understood as 31.2 mbar" in run_command(shop.watch, "g 29 inHg")
        assert "resin open" in run_command(shop.watch, "help me")
        assert run_command(shop.watch, "") == ""
    assert [s.text or s.kind for s in read_stamps(folder)] == ["resin open", "pot changed"]
    readings = [reading for _, reading in read_readings(folder)]
    assert readings == pytest.approx([12.5, 31.2], abs=0.05)
