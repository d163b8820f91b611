"""Raw sockets against the served page: lines that ask for nothing can't use it up."""

import contextlib
import socket
import ssl
import time

import pytest

from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.events import Events  # noqa: E402
from analysis.page.access.lines import MOST_EACH, SILENT_S, STUCK_S, Lines  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402

PATIENCE_S = 60.0


@pytest.fixture
def clock(monkeypatch):
    """What the lines take for the time, in seconds; only the test moves it."""
    now = [0.0]
    monkeypatch.setattr("analysis.page.server.SWEEP_S", 0.02)
    plain = Lines.__init__

    def told_the_time(self, events, **more):
        plain(self, events, now=lambda: now[0], **more)

    monkeypatch.setattr(Lines, "__init__", told_the_time)
    return now


@pytest.fixture(params=[False, True], ids=["plain", "tls"])
def served(request, clock, tmp_path):
    write_panel(tmp_path / "p")
    with PageServer(Watches(Panels(tmp_path)), share=request.param, port=0) as server:
        yield server


def port_of(server):
    return Browser(server).port


def wait_for(there):
    until = time.monotonic() + PATIENCE_S
    while not there() and time.monotonic() < until:
        time.sleep(0.01)
    assert there()


def ended(line, within_s=0.2):
    """Whether the other side has closed the line."""
    line.settimeout(within_s)
    try:
        while line.recv(4096):
            pass
    except TimeoutError:
        return False
    except OSError:
        pass
    return True


def hung_up(line, clock, after_s):
    """Whether the line stays open until `after_s` are over, and is closed then."""
    if ended(line):
        return False
    clock[0] += 0.9 * after_s
    if ended(line):
        return False
    until = time.monotonic() + PATIENCE_S
    while not ended(line) and time.monotonic() < until:
        clock[0] += after_s  # again: what was sent may be read only now
    return ended(line)


@pytest.fixture
def calls(served):
    """Opens raw connections to the page; all are let go at the end."""
    lines = []

    def opened(count=1):
        for _ in range(count):
            lines.append(socket.create_connection(("127.0.0.1", port_of(served)), PATIENCE_S))
        return lines[-count:]

    yield opened
    for line in lines:
        line.close()


def test_a_line_that_says_nothing_is_closed(served, calls, clock):
    line = calls()[0]
    wait_for(lambda: len(served.lines) == 1)
    assert hung_up(line, clock, SILENT_S)
    wait_for(lambda: len(served.lines) == 0)


def test_half_a_request_is_closed(served, calls, clock):
    line = calls()[0]
    if served.share:
        line.send(
            b"\x16\x03\x01\x02\x00\x01"
        )  # the beginning of a TLS hello, RFC 8446, and no more
    else:
        line.send(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
    wait_for(lambda: len(served.lines) == 1)
    assert hung_up(line, clock, SILENT_S)


def test_a_body_that_never_comes_is_closed(served, calls, clock):
    line = calls()[0]
    if served.share:
        trust = ssl.create_default_context()
        trust.check_hostname, trust.verify_mode = False, ssl.CERT_NONE
        line = trust.wrap_socket(line)
    line.sendall(
        f"POST /pair HTTP/1.1\r\nHost: {Browser(served).host}\r\nOrigin: {Browser(served).origin}"
        "\r\nContent-Length: 20\r\n\r\n{".encode()
    )
    wait_for(lambda: len(served.lines) == 1)
    try:
        assert hung_up(line, clock, SILENT_S)
    finally:
        line.close()


def test_silent_lines_leave_room_for_others(served, calls, clock):
    """Far more of them than there is room for, from the address the desk itself comes from."""
    calls(3 * MOST_EACH)
    wait_for(lambda: any("the rest are closed" in line for line in served.events.lines()))
    assert len(served.lines) == MOST_EACH
    told = [line for line in served.events.fresh() if "the rest are closed" in line]
    assert len(told) == 1  # one plain line, however many there are
    clock[0] += SILENT_S + 1.0
    wait_for(lambda: len(served.lines) == 0)
    assert Browser(served).status("GET", "/pair") == 200


def test_lines_are_struck_out_when_they_end(served):
    for _ in range(5):
        assert Browser(served).status("GET", "/pair") == 200
    wait_for(lambda: len(served.lines) == 0)


def test_nothing_but_plain_words_comes_of_noise(served, calls, capfd):
    """Rubbish, a request in plain text to a TLS port, resets: nothing on the screen."""
    for rubbish in (b"\x00" * 500, b"GET / HTTP/9\r\n\r\n", b"\r\n" * 100, b"A" * 40_000):
        line = calls()[0]
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
        with contextlib.suppress(OSError):
            line.send(rubbish)
        line.close()
    assert Browser(served).status("GET", "/pair") == 200
    shown = capfd.readouterr()
    assert shown.out + shown.err == ""


class Pretended:
    """A connection of which only the hanging up is noted."""

    def __init__(self):
        self.cut = False

    def shutdown(self, how):
        self.cut = True


def test_who_makes_room():
    """Strangers' idle lines go before those of paired devices; a busy one never goes."""
    now = [0.0]
    events = Events()
    lines = Lines(events, most=3, now=lambda: now[0])
    conns = {name: Pretended() for name in ("paired", "stranger", "busy", "new", "more", "last")}
    for k, name in enumerate(("paired", "stranger", "busy")):
        assert lines.admit(conns[name], (f"192.0.2.{k}", 1))
        now[0] += 1
    lines.began(("192.0.2.0", 1), known=True)
    lines.ended(("192.0.2.0", 1))
    lines.began(("192.0.2.2", 1), known=False)
    assert lines.admit(conns["new"], ("192.0.2.8", 1))
    assert [name for name, conn in conns.items() if conn.cut] == ["stranger"]
    lines.began(("192.0.2.8", 1), known=False)
    assert lines.admit(conns["more"], ("192.0.2.9", 1))
    assert conns["paired"].cut
    lines.began(("192.0.2.9", 1), known=False)
    assert not lines.admit(conns["last"], ("192.0.2.10", 1))
    assert not conns["busy"].cut
    assert events.fresh() == ["More than 3 connections: those that ask for nothing are closed."]


def test_waiting_for_news_is_not_silence():
    """A busy line has longer; either is closed in the end."""
    now = [0.0]
    lines, conn = Lines(Events(), now=lambda: now[0]), Pretended()
    lines.admit(conn, ("192.0.2.1", 1))
    lines.began(("192.0.2.1", 1), known=True)
    now[0] = SILENT_S + 1
    lines.sweep()
    assert not conn.cut
    now[0] = STUCK_S + 1
    lines.sweep()
    assert conn.cut


def test_same_words_are_counted_not_repeated():
    events = Events(lambda: 0.0)
    for _ in range(39_000):
        events.add("A connection failed.")
    assert len(events.lines()) == 1
    assert events.lines()[0].endswith("A connection failed. (39000 times)")
    assert events.fresh() == ["A connection failed."]
    assert events.fresh() == []
