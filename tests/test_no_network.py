"""Nothing is fetched at run time: each command works where no connection can be made at all."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.made_up.knocks import part_folder, photo_panel

ROOT = Path(__file__).resolve().parents[1]
CUT_OFF = """
import socket, sys

def cut(*_, **__):
    raise SystemExit("a connection was tried")

class Cut(socket.socket):
    connect = connect_ex = sendto = cut

socket.socket, socket.create_connection, socket.getaddrinfo = Cut, cut, cut
socket.gethostbyname = socket.gethostbyname_ex = cut
for line in sys.argv.pop(1).split(";"):
    from wetline import main
    main(line.split(), standalone_mode=False)
print("ended")
"""


def cut_off(*commands):
    return subprocess.run(
        [sys.executable, "-c", CUT_OFF, ";".join(commands)],
        env={**os.environ, "PYTHONPATH": str(ROOT), "WETLINE_TRACEBACK": "1"},
        capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip


def test_panel_and_part_without_a_network(tmp_path):
    photo_panel(tmp_path / "panel", 5)
    part_folder(tmp_path / "part")
    done = cut_off(
        f"sheet --output {tmp_path}/cards.pdf",
        f"run {tmp_path}/panel --pdf --quiet",
        f"lines {tmp_path}/panel --quiet",
        f"forecast {tmp_path}/panel",
        f"resin {tmp_path}/panel",
        f"part {tmp_path}/part --quiet --no-search",
        f"new {tmp_path}/next --no-ask",
    )
    assert done.stdout.endswith("ended\n"), done.stdout[-400:] + done.stderr[-2000:]
    report = (tmp_path / "panel" / "results" / "report.html").read_text("utf-8")
    for fetched in ('src="http', "src='http", "url(http", "<link", "@import", "<script src"):
        assert fetched not in report


@pytest.mark.parametrize("call", ["create_connection(('192.0.2.1', 9))", "getaddrinfo('a', 9)"])
def test_the_cut_holds(call):
    code = CUT_OFF.partition("for line")[0] + f"socket.{call}"
    done = subprocess.run(
        [sys.executable, "-c", code, ""], capture_output=True, text=True, check=False, timeout=60
    )
    assert "a connection was tried" in done.stderr
