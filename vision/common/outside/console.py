"""The screen a command is run on: any encoding, and no other library's words on it."""

from __future__ import annotations

import codecs
import contextlib
import logging
import os
import sys
import warnings
from collections.abc import Iterator
from typing import Any

PLAIN_LETTERS = "plain_letters"
"""Name of the rule for letters that a screen lacks."""

_NEAR = {
    "\u2212": "-", "\u2013": "-", "\u2014": "-", "\u2018": "'", "\u2019": "'", "\u201c": '"',
    "\u201d": '"', "\u2026": "...", "\u00d7": "x", "\u2264": "<=", "\u2265": ">=", "\u2192": "->",
    "\u03bc": "u", "\u00b5": "u", "\u00b2": "2", "\u00b3": "3", "\u00b0": " deg", "\u00b1": "+-",
    "\u2022": "*", "\u00b7": ".", "\u2009": " ", "\u202f": " ", "\u00a0": " ",
}  # fmt: skip


def near_letters(error: UnicodeError) -> tuple[str | bytes, int]:
    """Return the nearest plain letters for those an encoding lacks; a question mark for the rest.

    Examples
    --------
    >>> codecs.register_error("example", near_letters)
    >>> "8 \\u2264 9 \\u2192 \\u4e2d".encode("ascii", "example")
    b'8 <= 9 -> ?'
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    text = "".join(_NEAR.get(letter, "?") for letter in letters)
    try:
        text.encode(error.encoding)
    except UnicodeEncodeError:
        text = "?" * len(letters)
    return text, error.end


@contextlib.contextmanager
def settled_screen() -> Iterator[None]:
    """Make the process's own screen fit for any text, and keep what libraries print off it.

    Decoders in C write their complaints straight to file descriptor 2 (libjpeg, libpng, libtiff),
    OpenCV and others through their own logs. All of that goes nowhere, unless
    ``WETLINE_TRACEBACK`` is set. Where standard error is not the process's own (a test, a
    script), only the letters are seen to.
    """
    codecs.register_error(PLAIN_LETTERS, near_letters)
    for stream in (sys.stdout, sys.stderr):
        _any_letter(stream)
    if os.environ.get("WETLINE_TRACEBACK") or not _is_own(sys.stderr):
        yield
        return
    last_resort = logging.lastResort
    logging.lastResort = logging.NullHandler()
    try:
        with warnings.catch_warnings(), _own_words_only():
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.lastResort = last_resort


def _any_letter(stream: Any) -> None:
    with contextlib.suppress(AttributeError, ValueError, OSError):
        stream.reconfigure(errors=PLAIN_LETTERS)


def _is_own(stream: Any) -> bool:
    """Return whether a stream is the process's standard error itself."""
    try:
        number: int = stream.fileno()
        return stream is sys.__stderr__ and number == 2
    except (AttributeError, ValueError, OSError):
        return False


@contextlib.contextmanager
def _own_words_only() -> Iterator[None]:
    """Let Python's standard error write to the screen, and file descriptor 2 to nowhere."""
    screen, before = os.dup(2), sys.stderr
    nowhere = os.open(os.devnull, os.O_WRONLY)
    before.flush()
    own = open(  # noqa: SIM115 closed below, after the last word
        screen,
        "w",
        encoding=before.encoding,
        errors=PLAIN_LETTERS,
        buffering=1,
        closefd=False,
    )
    try:
        os.dup2(nowhere, 2)
        sys.stderr = own
        yield
    finally:
        with contextlib.suppress(OSError, ValueError):
            own.flush()
        sys.stderr = before
        os.dup2(screen, 2)
        with contextlib.suppress(OSError, ValueError):
            own.close()
        os.close(screen)
        os.close(nowhere)
