"""Ends the program in good order on every signal that can be caught, so that nothing is left."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType
from typing import Any

NAMES = (
    "SIGHUP", "SIGINT", "SIGQUIT", "SIGTERM", "SIGUSR1", "SIGUSR2", "SIGALRM", "SIGVTALRM",
    "SIGPROF", "SIGIO", "SIGXCPU", "SIGABRT", "SIGSYS", "SIGTRAP", "SIGPWR", "SIGSTKFLT",
    "SIGBREAK",
)  # fmt: skip
"""Those that end a program and may be answered in Python. SIGKILL and SIGSTOP can't be caught;
SIGSEGV, SIGBUS, SIGFPE and SIGILL mean that the program itself is broken, and an answer would
come back to the same fault for ever."""


@contextlib.contextmanager
def ends_tidily() -> Iterator[None]:
    """Turn every such signal into Ctrl-C, once; what comes after is left alone while we tidy up.

    Notes
    -----
    Only the main thread may set signals; elsewhere this does nothing.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    caught = [number for name in NAMES if (number := getattr(signal, name, None)) is not None]
    caught += [int(n) for n in _real_time()]
    before: dict[int, Any] = {}

    def stop(number: int, frame: FrameType | None) -> None:
        for other in before:
            signal.signal(other, signal.SIG_IGN)
        raise KeyboardInterrupt

    for number in caught:
        with contextlib.suppress(OSError, ValueError):
            was = signal.getsignal(number)
            if was is not None and was is not signal.SIG_IGN:
                signal.signal(number, stop)
                before[number] = was
    try:
        yield
    finally:
        for number, was in before.items():
            signal.signal(number, was)


def _real_time() -> range:
    low, high = getattr(signal, "SIGRTMIN", None), getattr(signal, "SIGRTMAX", None)
    return range(0) if low is None or high is None else range(low, high + 1)
