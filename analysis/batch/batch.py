"""Every panel and part beneath a folder brought up to date: only what has changed is done again."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Generator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from analysis.batch.find import Found
from analysis.batch.fingerprint import Fingerprint, kind_of, made_by, why_again
from analysis.batch.one_panel import (
    FAILED,
    NO_TOML,
    PLAN_ONLY,
    STOPPED,
    UP_TO_DATE,
    Order,
    Outcome,
)
from analysis.batch.progress_line import ProgressLine
from analysis.batch.workers import Finished, Progress, cores, work_off
from analysis.part.part_folder import is_part
from analysis.record.input_files import hash_inputs, input_files
from vision.common.atomic_files import read_json
from vision.errors import WetlineError
from vision.settings.frame_settings import VIDEO_SUFFIXES

FIXED_BYTES = 60e6
"""Start, fit and record of a panel cost as much as reading photos of so many bytes."""
FILM_FACTOR = 20.0
"""A byte of film holds so much more picture than a byte of photo."""


Words = Generator[Progress | Finished, None, None]


@dataclass(frozen=True)
class Wish:
    """How a batch is to be done.

    Attributes
    ----------
    jobs : int
        Processes at one time.
    pdf : bool
        Also write report.pdf.
    fresh : bool
        Do every panel again, whether it has changed or not.
    dask : str or None
        Address of a Dask scheduler whose workers do it.
    """

    jobs: int
    pdf: bool = False
    fresh: bool = False
    dask: str | None = None


@dataclass(frozen=True)
class Batch:
    """What became of all that was found.

    Attributes
    ----------
    root : Path
    outcomes : tuple of Outcome
        In the order the panels were found; what lacks its panel.toml, and plans alone, come last.
    places : mapping of str to Path
        Panel folders from the root, by the names in the outcomes.
    stopped : bool
        Whether it was interrupted.
    spent_s : float
    """

    root: Path
    outcomes: tuple[Outcome, ...]
    places: Mapping[str, Path]
    stopped: bool
    spent_s: float

    @property
    def all_fine(self) -> bool:
        """Whether every panel is up to date."""
        states = {outcome.state for outcome in self.outcomes}
        return not self.stopped and states <= {"done", UP_TO_DATE, NO_TOML, PLAN_ONLY}


def run_batch(found: Found, wish: Wish, line: ProgressLine) -> Batch:
    """Bring panels up to date.

    Parameters
    ----------
    found : Found
    wish : Wish
    line : ProgressLine
        Where progress is shown.

    Returns
    -------
    Batch
        Also after an interrupt: what was not reached is called "not done yet".
    """
    began = time.monotonic()
    made = made_by()
    with ThreadPoolExecutor(cores()) as pool:
        try:
            checks = pool.map(lambda folder: _check(found, folder, wish, made), found.panels)
            checked = list(line.checking(checks, len(found.panels)))
        except KeyboardInterrupt:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    orders = [item for item in checked if isinstance(item, Order)]
    outcomes = {item.folder: item for item in checked if isinstance(item, Outcome)}
    stopped = False
    try:
        words = line.working(_in_turn(orders, wish), orders)
        with contextlib.closing(words):
            for word in words:
                if isinstance(word, Finished):
                    outcomes[word.order.name] = word.outcome
    except KeyboardInterrupt:
        stopped = True
    for order in orders:
        outcomes.setdefault(order.name, Outcome(order.name, STOPPED, order.why))
    closed = [Outcome(name, FAILED, "this folder cannot be opened") for name in found.closed]
    lacking = [Outcome(one.folder, NO_TOML, one.advice) for one in found.unfinished]
    lacking += [Outcome(one.folder, PLAN_ONLY, one.advice) for one in found.plans]
    listed = (outcomes[found.name(folder)] for folder in found.panels)
    places = {found.name(folder): folder.relative_to(found.root) for folder in found.panels}
    all_of_them = (*listed, *closed, *lacking)
    return Batch(found.root, all_of_them, places, stopped, time.monotonic() - began)


def _in_turn(orders: Sequence[Order], wish: Wish) -> Words:
    """Do all panels, then the parts: a part's stack may come from a panel."""
    parts = [is_part(order.folder) for order in orders]
    for kind in (False, True):
        some = [order for order, part in zip(orders, parts, strict=True) if part is kind]
        if some:
            yield from _work(some, wish)


def _work(orders: Sequence[Order], wish: Wish) -> Words:
    if wish.dask is None or not orders:
        return work_off(orders, wish.jobs)
    from analysis.batch.cluster import work_off_on_cluster

    return work_off_on_cluster(orders, wish.dask)


def _check(found: Found, folder: Path, wish: Wish, made: dict[str, str]) -> Order | Outcome:
    """Return the order for a panel, or what it has where that still stands."""
    name = found.name(folder)
    try:
        now = Fingerprint(hash_inputs(folder), made)
        why = "asked for" if wish.fresh else why_again(folder, now, wish.pdf)
        if why:
            here = folder.resolve()
            return Order(name, here, now.inputs, why, made, wish.pdf, _weight(folder))
        answer = read_json(folder / "results" / kind_of(folder).numbers)
    except (WetlineError, OSError) as error:
        return Outcome(name, FAILED, str(error))
    return Outcome(name, UP_TO_DATE, answer=answer)


def _weight(folder: Path) -> float:
    """Return the work that a panel is expected to be, in bytes of photos."""
    weight = FIXED_BYTES
    for path in input_files(folder).values():
        film = path.suffix.lower() in VIDEO_SUFFIXES
        weight += path.stat().st_size * (FILM_FACTOR if film else 1.0)
    return weight
