"""The board as plain JSON for the page."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analysis.watch.board import (
    ENDED,
    Board,
    clock_text,
    end_text,
    gel_text,
    margin_s,
    overdue,
    width_text,
)
from analysis.watch.run import Watch
from vision.common.atomic_files import plain


def board_view(watch: Watch, board: Board) -> dict[str, Any]:
    """Return what the page shows.

    Times on the clock are milliseconds of Unix time, with the server's own now beside them, so
    that a phone with a wrong clock shows the right one.
    """
    elapsed = watch.elapsed_s()
    numbers = board.numbers
    view: dict[str, Any] = shared_view(watch, board, elapsed) | {
        "kind": "panel",
        "front": None if numbers.front is None else asdict(numbers.front),
        "width_text": "" if numbers.front is None else width_text(numbers.front),
        "end_text": end_text(board, elapsed),
        "end_s": numbers.end_reached_s if numbers.end is None else numbers.end.end_s,
        "end_low_s": None if numbers.end is None else numbers.end.low_s,
        "end_high_s": None if numbers.end is None else numbers.end.high_s,
        "overdue": overdue(board, elapsed),
        "slowing": numbers.end is not None and numbers.end.slowing,
        "reached": numbers.end_reached_s is not None,
        "gel_s": None if board.gel is None else board.gel.gel_s,
        "gel_text": gel_text(board, elapsed),
        "margin_s": margin_s(board, elapsed),
        "beside": None if numbers.beside is None else asdict(numbers.beside),
        "chart_text": chart_words(board, elapsed),
    }
    shown: dict[str, Any] = plain(view)
    return shown


def shared_view(watch: Watch, board: Board, elapsed_s: float | None) -> dict[str, Any]:
    """Return what the boards of a panel and of a part have in common."""
    return {
        "version": board.version,
        "watched": True,
        "name": board.name,
        "state": board.state,
        "todo": board.todo,
        "now_ms": watch.clock.now() * 1000.0,
        "start_ms": None if board.start_clock_s is None else board.start_clock_s * 1000.0,
        "stamped": board.start_stamped,
        "clamped": board.clamp_clock_s is not None,
        "ended": board.state == ENDED,
        "elapsed_s": elapsed_s,
        "frames": board.frames,
        "camera": board.camera,
        "interval_s": watch.interval_s,
        "silence_s": watch.recorder.silence_s(),
        "delay_s": board.delay_s,
        "alarms": [asdict(alarm) for alarm in board.alarms],
        "drawdown": {"verdict": board.drawdown[0], "text": board.drawdown[1]},
        "final": [asdict(row) for row in board.final],
    }


def chart_words(board: Board, elapsed_s: float | None = None) -> str:
    """Write in words what the chart shows, for who cannot see it."""
    numbers = board.numbers
    if numbers.front is None or not len(numbers.time_s):
        return "No front yet."
    text = (
        f"Front at {numbers.front.mean_mm:.0f} of {numbers.front.length_mm:.0f} mm "
        f"{clock_text(float(numbers.time_s[-1]))} after resin start."
    )
    if numbers.end is not None:
        text += f" At the end: {end_text(board, elapsed_s)}."
    return text
