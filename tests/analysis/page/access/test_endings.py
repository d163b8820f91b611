"""Whatever ends the page, nothing that opens anything stays on disk."""

import os
import signal
import subprocess
import sys
import time

import pytest

from tests.made_up.live_run import write_panel

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.endings import NAMES, ends_tidily  # noqa: E402

WAIT_S = 120.0


def begun(tmp_path):
    """A shared page in a process of its own, that keeps its temporary files in a known place."""
    write_panel(tmp_path / "shop" / "p")
    kept = tmp_path / "temporary"
    kept.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "wetline", "page", str(tmp_path / "shop"), "--share", "--no-open",
         "--port", "0"],
        env=os.environ | {"TMPDIR": str(kept), "TEMP": str(kept), "TMP": str(kept)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",  # as our screen writes where the computer names no better
        errors="replace",
    )  # fmt: skip
    said = []
    for line in process.stdout:
        said.append(line)
        if "Stop with Ctrl-C." in line:
            return process, kept
    raise AssertionError("".join(said))


def is_key(path):
    return path.is_file() and b"PRIVATE KEY" in path.read_bytes()


@pytest.mark.skipif(os.name != "posix", reason="signals are sent to another process")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGABRT"])
def test_nothing_is_left_after_a_signal(tmp_path, name):
    process, kept = begun(tmp_path)
    try:
        assert list(kept.rglob("open.html"))
        assert not any(is_key(path) for path in kept.rglob("*"))
        process.send_signal(getattr(signal, name))
        said = process.communicate(timeout=WAIT_S)[0]
    finally:
        process.kill()
    assert "Stopped. Pictures are kept" in said
    assert "Traceback" not in said
    assert list(kept.iterdir()) == []


def raised_twice(number):
    with ends_tidily():
        try:
            signal.raise_signal(number)
            time.sleep(0.01)
        finally:
            signal.raise_signal(number)


def test_every_signal_comes_as_one_ctrl_c():
    """Each that this system knows, raised in this process; a second one changes nothing."""
    for name in NAMES:
        number = getattr(signal, name, None)
        if number is None or name == "SIGBREAK" or (os.name != "posix" and name != "SIGTERM"):
            continue
        outside = signal.getsignal(number)
        before = signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL
        signal.signal(number, before)  # what the tests were started by may ignore some
        try:
            with pytest.raises(KeyboardInterrupt):
                raised_twice(number)
            assert signal.getsignal(number) == before
        finally:
            signal.signal(number, outside)
