"""A screen of any encoding shows our words, and no other library's."""

import io
import logging
import os
import subprocess
import sys
import warnings

import pytest

from vision.common.outside.console import near_letters, settled_screen

NOISE = """
import ctypes, logging, os, sys, threading, warnings
from vision.common.outside.console import settled_screen
with settled_screen():
    os.write(2, b"decoder: raw words\\n")
    warnings.warn("raw warning")
    logging.getLogger("library").warning("raw log")
    print("our words \\u2264 \\u4e2d", file=sys.stderr)
    print("our answer \\u2192 \\u2264")
os.write(2, b"as before\\n")
"""


def shout(**environment):
    kept = {name: value for name, value in os.environ.items() if name != "WETLINE_TRACEBACK"}
    return subprocess.run(
        [sys.executable, "-c", NOISE], env={**kept, "PYTHONPATH": ".", **environment},
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip


def test_only_our_words_reach_the_screen():
    done = shout(PYTHONIOENCODING="latin-1")
    assert done.stderr.splitlines() == [b"our words <= ?", b"as before"]
    assert done.stdout.splitlines() == [b"our answer -> <="]


def test_those_who_look_for_a_fault_see_everything():
    done = shout(PYTHONIOENCODING="utf-8", WETLINE_TRACEBACK="1")
    for words in (b"raw words", b"raw warning", b"raw log", b"as before"):
        assert words in done.stderr


def test_a_stream_of_a_test_or_a_script_keeps_its_warnings(monkeypatch):
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    before = logging.lastResort
    with settled_screen():
        assert logging.lastResort is before
        with pytest.warns(UserWarning, match="still heard"):
            warnings.warn("still heard", UserWarning, stacklevel=1)


def test_an_error_of_another_kind_is_no_matter_of_letters():
    with pytest.raises(UnicodeDecodeError):
        near_letters(UnicodeDecodeError("utf-8", b"\xff", 0, 1, "no"))
