"""Recorded panels and parts worked out from the page, each in a process of its own.

Tested in tests/analysis/page/routes/test_worked_out.py.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from analysis.page.stored.panels import refuse_links_out
from analysis.part.part_folder import is_part
from analysis.watch.lock import FolderLock
from vision.common.atomic_files import sweep_leftovers
from vision.common.closing import Closing
from vision.errors import WetlineError

FRAMES_SHARE = 0.9
"""Share of the work that reading the photos is; the rest fits, draws and writes."""
STEP = 0.01
WAIT_S = 10.0
STOPPED = "Stopped before the end: there is no result of it."
DIED = "It ended without a word: too little memory, or a photo that this computer cannot take."


Work = Callable[[Connection, Path], None]


@dataclass
class _Job:
    process: BaseProcess
    folder: Path
    share: float = 0.0
    fault: str = ""
    done: bool = False
    stopped: bool = False


class Jobs(Closing):
    """Works out recorded folders, one at a time, and stops when it is asked to.

    Parameters
    ----------
    work : callable
        What the process does, given a pipe for its words and the folder; see `work_out`.

    Notes
    -----
    A process of its own, and not a thread: boards go on at their own pace, a photo that brings a
    library down takes only this run with it, and it can be stopped at any moment.
    """

    def __init__(self, work: Work | None = None) -> None:
        self._work = work_out if work is None else work
        self._jobs: dict[str, _Job] = {}
        self._lock = threading.Lock()

    def start(self, name: str, folder: Path) -> None:
        """Begin the whole job of `wetline run` on a folder; nothing where it is at work on it.

        Parameters
        ----------
        name : str
            The panel's id.
        folder : Path

        Raises
        ------
        WetlineError
            If another is being worked out, or its results would go elsewhere.
        """
        refuse_links_out(folder)
        with self._lock:
            busy = next((other for other, job in self._jobs.items() if not job.done), None)
            if busy == name:
                return
            if busy is not None:
                raise WetlineError(f"{busy} is being worked out: wait for it, or stop it first")
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe(duplex=False)
            process = context.Process(target=self._work, args=(theirs, folder), daemon=True)
            process.start()
            theirs.close()
            job = self._jobs[name] = _Job(process, folder)
        threading.Thread(target=_listen, args=(job, ours), name="run", daemon=True).start()

    def stop(self, name: str) -> None:
        """Stop a folder's run; what it had half written is taken away."""
        job = self._jobs.get(name)
        if job is None or job.done:
            return
        job.stopped = True
        _end(job)

    def told(self, name: str) -> dict[str, Any] | None:
        """Return how far a folder's run is, or why it ended without a result.

        Returns
        -------
        told : dict or None
            `running`, `share` (0 to 1) and `fault`; None where it was not begun, or went well.
        """
        job = self._jobs.get(name)
        if job is None or (job.done and not job.fault):
            return None
        return {"running": not job.done, "share": job.share, "fault": job.fault}

    def close(self) -> None:
        """Stop all."""
        for name in list(self._jobs):
            self.stop(name)


def _end(job: _Job) -> None:
    job.process.terminate()
    job.process.join(WAIT_S)
    if job.process.is_alive():
        job.process.kill()
        job.process.join()
    sweep_leftovers(job.folder / "results")


def _listen(job: _Job, pipe: Connection) -> None:
    """Take in what the process says until it ends."""
    fault: str | None = None
    try:
        while True:
            word = pipe.recv()
            if isinstance(word, str):
                fault = word
            else:
                job.share = float(word)
    except (EOFError, OSError):
        pipe.close()
    job.process.join()
    job.fault = STOPPED if job.stopped else DIED if fault is None else fault
    job.done = True


def work_out(pipe: Connection, folder: Path) -> None:
    """Do the whole job in a process of its own, and say through the pipe how far it is.

    Parameters
    ----------
    pipe : Connection
        Takes shares, 0 to 1, and as the last word the fault as text, empty where all went well.
    folder : Path
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the page, which ends this
    threading.Thread(target=_end_with_parent, daemon=True).start()
    told = 0.0

    def progress(done: int, of: int) -> None:
        nonlocal told
        share = FRAMES_SHARE * done / max(of, 1)
        if share >= told + STEP:
            told = share
            pipe.send(share)

    try:
        with FolderLock(folder, busy="being watched or worked out", mend="wait for its end"):
            _run(folder, progress)
        pipe.send("")
    except WetlineError as error:
        pipe.send(str(error))
    except MemoryError:
        pipe.send("too little memory")
    except Exception as error:
        pipe.send(f"Wetline met a fault of its own ({type(error).__name__}: {error})")


def _run(folder: Path, progress: Any) -> None:
    if is_part(folder):
        from analysis.infusion.answer.run_job import run_part

        run_part(folder, progress=progress)
        return
    from analysis.record.panel_job import run_panel

    run_panel(folder, progress=progress)


def _end_with_parent() -> None:
    """End this process as soon as the page's own has ended, however it ended."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
