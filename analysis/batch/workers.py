"""Processes that each do one panel after another; one that dies takes only its panel with it."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Generator, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess

from analysis.batch.one_panel import FAILED, Order, Outcome, bring_up_to_date

BEAT_S = 0.25
"""Least time between two words on the progress of one panel."""
TRIES = 2
"""A panel whose process died is tried once more: another program may have taken the memory."""
THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Progress:
    """The share of one panel's work that is done, 0 to 1."""

    order: Order
    share: float


@dataclass(frozen=True)
class Finished:
    """What became of one panel."""

    order: Order
    outcome: Outcome


@dataclass
class _Worker:
    process: BaseProcess
    pipe: Connection
    order: Order | None = None


def cores() -> int:
    """Return how many cores this process may use."""
    usable = getattr(os, "sched_getaffinity", None)
    return len(usable(0)) if usable is not None else os.cpu_count() or 1


def work_off(orders: Sequence[Order], jobs: int) -> Generator[Progress | Finished, None, None]:
    """Do panels in processes of their own, the greatest first.

    Parameters
    ----------
    orders : sequence of Order
    jobs : int
        Processes at one time.

    Yields
    ------
    Progress or Finished
        As they come. Closing the iterator, as an interrupt does, stops the processes and takes
        away what they had half written.

    Notes
    -----
    Where there are as many processes as cores OpenCV has one thread in each: more would only wait
    for each other.
    """
    waiting = sorted(orders, key=lambda order: -order.weight)
    tries = dict.fromkeys((order.name for order in orders), 0)
    jobs = max(1, min(jobs, len(waiting)))
    threads = max(1, cores() // jobs)
    workers: list[_Worker] = []
    try:
        while waiting or any(worker.order for worker in workers):
            while waiting and len(workers) < jobs:
                workers.append(_start(threads))
            for worker in workers:
                if worker.order is None and waiting:
                    _hand(worker, waiting.pop(0))
            for worker in _ready(workers):
                order = worker.order
                word = _hear(worker)
                if word is not None:
                    yield word
                elif order is not None:
                    workers.remove(worker)
                    tries[order.name] += 1
                    if tries[order.name] < TRIES:
                        waiting.append(order)
                    else:
                        yield Finished(order, _died(order, worker.process))
    finally:
        _stop(workers)


def _start(threads: int) -> _Worker:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_work, args=(theirs, threads), daemon=True)
    process.start()
    theirs.close()
    return _Worker(process, ours)


def _hand(worker: _Worker, order: Order) -> None:
    worker.order = order
    with contextlib.suppress(OSError):  # a dead worker is noticed when it is listened to
        worker.pipe.send(order)


def _ready(workers: Sequence[_Worker]) -> list[_Worker]:
    busy = {worker.pipe: worker for worker in workers if worker.order is not None}
    return [busy[pipe] for pipe in wait(list(busy))]  # type: ignore[index]


def _hear(worker: _Worker) -> Progress | Finished | None:
    """Return what a worker says; None if it is dead."""
    order = worker.order
    assert order is not None
    try:
        word = worker.pipe.recv()
    except (EOFError, OSError):
        worker.process.join(5)
        return None
    if isinstance(word, Outcome):
        worker.order = None
        return Finished(order, word)
    return Progress(order, float(word))


def _died(order: Order, process: BaseProcess) -> Outcome:
    code = process.exitcode
    how = f"signal {-code}" if code is not None and code < 0 else f"code {code}"
    note = (
        f"its process ended {TRIES} times without a word ({how}): too little memory, or a photo or "
        "film that this computer cannot take: try `wetline run` on it alone"
    )
    return Outcome(order.name, FAILED, note)


def _stop(workers: Sequence[_Worker]) -> None:
    """End all processes; what one had half written is taken away."""
    for worker in workers:
        if worker.order is None:
            with contextlib.suppress(OSError):
                worker.pipe.send(None)
        else:
            worker.process.terminate()
    for worker in workers:
        worker.process.join(10)
        if worker.process.is_alive():
            worker.process.kill()
            worker.process.join()
        if worker.order is not None:
            for part in (worker.order.folder / "results").glob(".part-*"):
                with contextlib.suppress(OSError):
                    part.unlink()
        worker.pipe.close()


def _work(pipe: Connection, threads: int) -> None:
    """Do what comes through the pipe until None comes or nobody is there any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the one that started us
    for name in THREADS:
        os.environ.setdefault(name, "1")  # as the front door does, so that no last digit differs
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if not os.environ.get("WETLINE_TRACEBACK"):
        _silence()
    import cv2

    cv2.setNumThreads(threads)
    while True:
        try:
            order = pipe.recv()
        except (EOFError, OSError):
            return
        if order is None:
            return
        with contextlib.suppress(OSError):
            pipe.send(bring_up_to_date(order, Beat(pipe)))


class Beat:
    """Hands on how far a panel is, now and then."""

    def __init__(self, pipe: Connection) -> None:
        self.pipe, self.last_s = pipe, -BEAT_S

    def __call__(self, share: float) -> None:
        """Send the share that is done, unless one was sent a moment ago."""
        now_s = time.monotonic()
        if now_s - self.last_s >= BEAT_S:
            self.last_s = now_s
            with contextlib.suppress(OSError):
                self.pipe.send(share)


def _end_with_parent() -> None:
    """End this process as soon as the one that started it has ended, however it ended."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _silence() -> None:
    """Send to nowhere what libraries write on the screen past Python."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
