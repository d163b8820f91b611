"""One panel or part of many: done in a process of its own, and what became of it as plain data."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from analysis.batch.fingerprint import (
    Fingerprint,
    drop_fingerprint,
    kind_of,
    made_by,
    write_fingerprint,
)
from analysis.part.part_folder import is_part
from analysis.record.input_files import hash_inputs
from analysis.watch.lock import is_watched
from vision.common.atomic_files import read_json
from vision.errors import WetlineError

DONE, UP_TO_DATE, FAILED = "done", "up to date", "failed"
WATCHED, NO_TOML, STOPPED = "being watched", "no panel.toml", "not done yet"
PLAN_ONLY = "plan only"
STATES = (DONE, UP_TO_DATE, FAILED, WATCHED, NO_TOML, PLAN_ONLY, STOPPED)


@dataclass(frozen=True)
class Outcome:
    """What became of one panel folder.

    Attributes
    ----------
    folder : str
        Path from the folder that was searched.
    state : str
        One of `STATES`.
    note : str
        Why it was done, why it failed, or what to write.
    spent_s : float
        Time it took.
    answer : mapping
        The content of results.json, or part_run.json; empty where there is none that holds.
    """

    folder: str
    state: str
    note: str = ""
    spent_s: float = 0.0
    answer: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Order:
    """What one process is asked to do.

    Attributes
    ----------
    name : str
        The panel as the summary calls it.
    folder : Path
    inputs : mapping of str to str
        SHA-256 of each input file when the order was given.
    why : str
        Why it is to be done.
    made_by : mapping of str to str
        The versions that it is to be done with.
    pdf : bool
        Also write the PDF.
    weight : float
        Work expected, in any one unit.
    """

    name: str
    folder: Path
    inputs: Mapping[str, str]
    why: str
    made_by: Mapping[str, str]
    pdf: bool = False
    weight: float = 1.0


def bring_up_to_date(
    order: Order, progress: Callable[[float], None] = lambda share: None
) -> Outcome:
    """Do one panel or part and write what its results were made from.

    Parameters
    ----------
    order : Order
    progress : callable
        Given the share that is done, 0 to 1.

    Returns
    -------
    Outcome
        A fault of any kind is an outcome, not an exception.

    Notes
    -----
    The fingerprint holds what lay in the folder when the order was given. Where that has changed
    once the panel is done none is left, so that the panel is done again the next time.
    """
    began = time.monotonic()
    if dict(order.made_by) != made_by():
        return Outcome(
            order.name, FAILED, "this computer has another version of Wetline or of a library"
        )
    if is_watched(order.folder):
        return Outcome(order.name, WATCHED, "`wetline watch` is following it")
    try:
        drop_fingerprint(order.folder)
        _run(order, lambda i, n: progress(0.9 * i / max(n, 1)))
        answer = read_json(order.folder / "results" / kind_of(order.folder).numbers)
        note = order.why
        if hash_inputs(order.folder) == dict(order.inputs):
            write_fingerprint(order.folder, Fingerprint(order.inputs, order.made_by))
        else:
            note = "files changed while it ran: it will be done again the next time"
    except WetlineError as error:
        return Outcome(order.name, FAILED, str(error), time.monotonic() - began)
    except MemoryError:
        return Outcome(order.name, FAILED, "too little memory", time.monotonic() - began)
    except Exception as error:
        fault = f"Wetline met a fault of its own ({type(error).__name__}: {error})"
        return Outcome(order.name, FAILED, fault, time.monotonic() - began)
    return Outcome(order.name, DONE, note, time.monotonic() - began, answer)


def _run(order: Order, progress: Callable[[int, int], None]) -> None:
    """Do the whole job of `wetline run` on a panel or part."""
    if not is_part(order.folder):
        from analysis.record.panel_job import run_panel

        run_panel(order.folder, pdf=order.pdf, progress=progress)
        return
    from analysis.infusion.answer.run_job import run_part

    run_part(order.folder, progress=progress)
    if order.pdf:
        from analysis.record.part.part_record import write_part_record

        write_part_record(order.folder)
