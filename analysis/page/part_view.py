"""The board of a part as plain JSON for the page.

Tested in tests/analysis/page/routes/test_part_page.py.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from analysis.infusion.answer.run_text import learnt_text, opening_words
from analysis.infusion.learn.learnt import Learnt
from analysis.infusion.outlook.words import cut_off_text, not_seen_text
from analysis.infusion.seen.by_hand import later_feeds
from analysis.page.board_view import board_view, shared_view
from analysis.part.answer.clock import clock_of
from analysis.part.plan.plan import PartPlan
from analysis.watch.board import Board, clock_text
from analysis.watch.part.board import PartBoard
from analysis.watch.part.good_runs import BesideGood
from analysis.watch.part.lines import gel_of, left_of
from analysis.watch.part.run import WatchPart
from analysis.watch.run import Watch
from vision.common.atomic_files import plain

PLAN_ALONE = "from the plan alone, scaled to the front as seen"
CORRECTED = "from the plan as corrected by what was seen"


def view_of(watch: Watch, board: Board) -> dict[str, Any]:
    """Return the board of a panel or a part as plain values."""
    if isinstance(watch, WatchPart) and isinstance(board, PartBoard):
        return part_view(watch, board)
    return board_view(watch, board)


def part_view(watch: WatchPart, board: PartBoard) -> dict[str, Any]:
    """Return what the page shows of a part; times on the clock as in `board_view`."""
    elapsed, numbers, left = watch.elapsed_s(), board.part, board.part.left
    open_end = left is not None and not left.filled
    view: dict[str, Any] = shared_view(watch, board, elapsed) | {
        "kind": "part",
        "wet_share": numbers.wetted_share,
        "wet_sd": numbers.wetted_sd,
        "resin_in_kg": numbers.resin_in_kg,
        "unseen_share": None if numbers.wetted_share is None else numbers.hidden_share,
        "cannot": numbers.cannot,
        "doubts": numbers.doubts,
        "end_text": "not known yet" if left is None else left_of(left, numbers.last_s),
        "end_s": None if left is None else left.end_s,
        "end_low_s": None if left is None else left.low_s,
        "end_high_s": None if left is None else left.high_s,
        "overdue": bool(open_end and left and elapsed is not None and elapsed > left.high_s),
        "slowing": False,
        "reached": left is not None and left.filled,
        "gel_s": clock_of(watch.job).gel_s,
        "gel_text": "not known yet" if left is None else gel_of(left),
        "margin_s": None if left is None else left.margin_s,
        "learnt": numbers.learnt,
        "forecast": CORRECTED if numbers.learnt else PLAN_ALONE,
        "values": [] if board.learnt is None else _values(board.learnt),
        "learning": board.learning,
        "feeds": _feeds(watch.job.plan, board),
        "vents": [
            {"name": vent.name, "shut": vent.name in board.shut} for vent in watch.job.plan.vents
        ],
        "air": [cut_off_text(cut) for cut in numbers.cut_offs],
        "not_seen": None if numbers.not_seen is None else not_seen_text(numbers.not_seen),
        "beside": _beside(board.beside),
        "good_left_out": watch.left_out,
        "gauge": _gauge(watch, board),
        "chart_text": part_words(board),
    }
    shown: dict[str, Any] = plain(view)
    return shown


def _values(learnt: Learnt) -> list[str]:
    """Write what was learnt, with feeds that did not open when that was noted."""
    odd = [one for one in learnt.openings if one.noted and one.other]
    return [opening_words(one)[0] for one in odd] + [learnt_text(one) for one in learnt.values]


def _feeds(plan: PartPlan, board: PartBoard) -> list[dict[str, Any]]:
    """Return each later feed: whether it is noted as open, else how the front stands at it."""
    stands = {feed.name: feed for feed in board.part.feeds}
    return [
        {
            "name": feed.name,
            "opened": feed.name in board.opened,
            "state": stands[feed.name].state if feed.name in stands else "",
            "text": stands[feed.name].text if feed.name in stands else "",
        }
        for feed in later_feeds(plan)
    ]


def _gauge(watch: WatchPart, board: PartBoard) -> dict[str, float] | None:
    if board.gauge is None:
        return None
    clock_s, mbar = board.gauge
    return {"bag_mbar": mbar, "ago_s": max(0.0, watch.clock.now() - clock_s)}


def _beside(beside: BesideGood | None) -> dict[str, Any] | None:
    """Return how the run stands to good ones as plain values; cells are left out."""
    if beside is None:
        return None
    odd = [{k: v for k, v in asdict(one).items() if k != "cells"} for one in beside.odd]
    return asdict(replace(beside, odd=())) | {"odd": odd}


def part_words(board: PartBoard) -> str:
    """Write in words what the chart of a part shows, for who cannot see it."""
    numbers = board.part
    if numbers.wetted_share is None:
        return "Nothing is seen to be wet yet."
    text = (
        f"{100 * numbers.wetted_share:.0f} % of the part wet "
        f"{clock_text(numbers.last_s)} after resin start."
    )
    if numbers.left is not None:
        text += f" Left: {left_of(numbers.left, numbers.last_s)}."
    beside = board.beside
    if beside is not None and beside.low_percent is not None:
        text += f" Good runs by then: {beside.low_percent:.0f} to {beside.high_percent:.0f} % wet."
    return text
