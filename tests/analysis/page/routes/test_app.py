"""The page's addresses, and one by one what nobody on the network may do with it."""

import http.client
import io
import json
import time
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from PIL import Image

from tests.made_up.live_run import photo, write_panel
from tests.made_up.page_browser import Browser
from vision.common.toml_table import read_toml
from vision.errors import WetlineError
from vision.settings.event_log import read_stamps
from vision.settings.panel_settings import read_setup

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.routes.asked import words  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.stored.scale_points import save_scale  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A folder of panels served on this computer only."""
    root = tmp_path_factory.mktemp("shop")
    write_panel(root / "strip", scale=False)
    write_panel(root / "done")
    (root / "done" / "results").mkdir()
    (root / "done" / "results" / "report.html").write_text("<p>report</p>")
    (root / "done" / "results" / "notes.txt").write_text("not for show")
    (root / "secret.txt").write_text("outside")
    outside = tmp_path_factory.mktemp("outside")
    write_panel(outside / "far")
    try:
        (root / "link").symlink_to(outside / "far", target_is_directory=True)
        (root / "done" / "results" / "leak.html").symlink_to(root / "secret.txt")
    except OSError:
        pass  # Windows without the right to make links
    watches = Watches(Panels(root))
    with PageServer(watches, port=0) as server:
        yield root, server
        watches.close()


@pytest.fixture
def browser(shop):
    return Browser(shop[1])


# -- what it gives


def test_pages_are_served(browser):
    for path in ("/", "/panel/strip", "/camera/strip", "/corners/strip", "/static/style.css"):
        status, headers, body = browser.ask("GET", path)
        assert status == 200
        assert len(body) > 200
        assert headers["x-content-type-options"] == "nosniff"


def test_panels_are_listed_with_their_reports(browser):
    panels = {p["id"]: p for p in browser.values("GET", "/api/panels")["panels"]}
    assert {"done", "strip"} <= set(panels)
    assert not {"link", "far", "secret.txt", "outside"} & set(panels)
    assert panels["done"]["files"] == ["report.html"]
    assert panels["strip"]["name"] == "Hatch cover strip"
    assert browser.ask("GET", "/results/done/report.html")[2] == b"<p>report</p>"


def test_phone_run_from_first_picture_to_corners(shop):
    root, server = shop
    browser = Browser(server)
    assert browser.values("GET", "/api/panels/strip/board") == {"watched": False, "version": -1}
    start = {"camera": "phone", "interval_s": 5}
    assert browser.values("POST", "/api/panels/strip/start", start)["ok"]
    for k in range(5):
        sent = browser.values(
            "POST", "/api/panels/strip/frame", photo(-50 + 10 * k), X_Frame_Id=f"a-{k}"
        )
        assert sent == {"ok": True}
        time.sleep(0.01)
    again = browser.values("POST", "/api/panels/strip/frame", photo(-10), X_Frame_Id="a-4")
    assert again["again"]  # the answer had been lost on the way; it is not stored twice
    frames = sorted((root / "strip" / "frames").glob("*.jpg"))
    assert len(frames) == 5
    board = _board(browser, lambda b: b["todo"].startswith("Tap the panel"))
    assert board["frames"] == 5
    _, headers, _ = browser.ask("GET", "/api/panels/strip/first")
    corners = [[60.2, 50.0], [540, 50], [540, 306], [60, 306]]
    points = {"corners": corners, "photo": headers["x-frame-name"]}
    assert browser.status("POST", "/api/panels/strip/corners", points) == 200
    assert read_setup(root / "strip").scale.corners_px[0] == (60.2, 50.0)
    assert browser.status("POST", "/api/panels/strip/stamp", {"kind": "resin open"}) == 200
    board = _board(browser, lambda b: b["state"] == "running")
    assert board["stamped"]
    assert browser.ask("GET", "/api/panels/strip/picture")[2][:2] == b"\xff\xd8"
    assert b"<svg" in browser.ask("GET", "/api/panels/strip/chart")[2]
    assert browser.status("POST", "/api/panels/strip/photo", photo(0)) == 200
    assert browser.status("POST", "/api/panels/strip/gauge", {"bag_mbar": 12}) == 200
    assert len(list((root / "strip" / "notes").iterdir())) == 1
    assert [s.kind for s in read_stamps(root / "strip")][-2:] == ["resin open", "photo"]


def _board(browser, ready):
    seen, until = -1, time.monotonic() + 120
    while time.monotonic() < until:
        board = browser.values("GET", f"/api/panels/strip/board?seen={seen}&wait=2")
        if ready(board):
            return board
        seen = board["version"]
    raise AssertionError(board)


def test_nothing_is_fetched_from_outside():
    """No page, style or script names an address of another server."""
    static = Path(__file__).resolve().parents[4] / "analysis" / "page" / "static"
    for path in static.iterdir():
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "//" not in text.replace("// ", "").replace("://localhost", ""), path.name
        assert "@import" not in text


# -- what it refuses


def test_page_is_for_this_computer_only_unless_shared(shop):
    server = shop[1]
    assert server.doors.url.startswith("http://127.0.0.1:")
    assert server._server.servers[0].sockets[0].getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "192.0.2.9:8484"])
def test_other_names_for_this_computer_are_refused(browser, host):
    """A page elsewhere that makes its own name point here (DNS rebinding) gets nothing."""
    assert browser.status("GET", "/api/panels", Host=host or "x") == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "http://localhost:1", "https://127.0.0.1"]
)
def test_other_sites_cannot_post(browser, origin):
    body = {"text": "x"}
    assert browser.status("POST", "/api/panels/done/note", body, Origin=origin) == 403


def test_post_with_no_origin_at_all_is_refused(browser):
    browser.origin = ""
    assert browser.status("POST", "/api/panels/done/start", {}) == 403


def test_websocket_is_refused(browser):
    status = browser.status(
        "GET",
        "/api/panels/done/board?wait=0",
        Connection="Upgrade",
        Upgrade="websocket",
        Sec_WebSocket_Key="dGhlIHNhbXBsZSBub25jZQ==",  # the example key of RFC 6455
        Sec_WebSocket_Version="13",
    )
    assert status != 101


@pytest.mark.parametrize(
    "path",
    [
        "/results/done/..%2f..%2fsecret.txt",
        "/results/done/../../secret.txt",
        "/results/done/notes.txt",
        "/results/done/%2e%2e%2fpanel.toml",
        "/results/..%2fdone/report.html",
        "/results/done/leak.html",
        "/results/link/report.html",
        "/static/..%2fapp.py",
        "/static/../app.py",
        "/static/pair.html",
        "/api/panels/..%2f..%2fetc/board",
        "/api/panels/link",
        "/panel/nowhere",
        "/results/done/report.html%00.png",
        "/%2e%2e/%2e%2e/secret.txt",
    ],
)
def test_no_path_leads_outside_the_chosen_folder(browser, path):
    status, _, body = browser.ask("GET", path)
    assert status in (400, 404)
    assert b"outside" not in body
    assert b"not for show" not in body


def test_results_are_shown_but_never_run(browser):
    _, headers, _ = browser.ask("GET", "/results/done/report.html")
    policy = headers["content-security-policy"]
    assert "sandbox" in policy
    assert "script-src" not in policy
    assert "default-src 'none'" in policy


def test_page_may_load_only_from_itself(browser):
    _, headers, _ = browser.ask("GET", "/panel/done")
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy


def test_uploads_are_limited_and_checked(shop):
    root, server = shop
    browser = Browser(server)
    write_panel(root / "uploads")
    start = {"camera": "phone", "interval_s": 5}
    assert browser.status("POST", "/api/panels/uploads/start", start) == 200
    target = "/api/panels/uploads/frame"
    out = io.BytesIO()
    Image.new("RGB", (300, 200)).save(out, "PNG")
    bomb = bytearray(photo(0.0))
    at = bomb.find(b"\xff\xc0")
    bomb[at + 5 : at + 9] = (65000).to_bytes(2, "big") * 2
    for body, told in (
        (b"<script>", "not a JPEG"),
        (out.getvalue(), "not a JPEG"),
        (photo(0.0)[:3000], "cut short"),
        (bytes(bomb), "pixels"),
    ):
        status, _, answer = browser.ask("POST", target, body)
        assert status == 409
        assert told in json.loads(answer)["error"]
    claimed = browser.ask("POST", target, b"x", Content_Length="26000000")
    assert claimed[0] == 413
    assert browser.status("POST", "/api/panels/uploads/stamp", b"{" * 30_000) == 413
    assert not list((root / "uploads" / "frames").iterdir())


def test_upload_that_hides_its_size_is_cut_off(shop):
    """Chunked: no length is claimed, and more than 25 MB come."""
    root, server = shop
    write_panel(root / "chunks")
    browser = Browser(server)
    browser.ask("POST", "/api/panels/chunks/start", {"camera": "phone"})
    line = http.client.HTTPConnection("127.0.0.1", browser.port, timeout=120)
    line.putrequest("POST", "/api/panels/chunks/frame", skip_host=True)
    for key, value in (("Host", browser.host), ("Origin", browser.origin)):
        line.putheader(key, value)
    line.putheader("Transfer-Encoding", "chunked")
    line.endheaders()
    sent = 0
    try:
        for _ in range(40):
            line.send(b"100000\r\n" + bytes(0x100000) + b"\r\n")
            sent += 1
        line.send(b"0\r\n\r\n")
    except OSError:
        pass  # hung up on us
    try:
        status = line.getresponse().status
    except (OSError, http.client.HTTPException):
        status = 413
    line.close()
    assert status == 413
    assert not list((root / "chunks" / "frames").iterdir())


def test_page_calls_no_camera_by_address(browser):
    for camera in ("http://192.0.2.1/x", "rtsp://192.0.2.1/x", "/etc", "../done", "123"):
        status, _, body = browser.ask("POST", "/api/panels/done/start", {"camera": camera})
        assert status == 409
        assert b"must be the phone or a webcam" in body


def test_nonsense_gets_an_answer_in_words(browser):
    for path, body in (
        ("/api/panels/done/stamp", b"[1]"),
        ("/api/panels/done/stamp", b"\xff\xfe"),
        ("/api/panels/done/corners", {"corners": [[1]]}),
        ("/api/panels/done/corners", {"corners": "x", "photo": "../panel.toml"}),
        ("/api/panels/done/start", {"interval_s": "soon"}),
        ("/api/panels/done/start", {"interval_s": 1e9}),
        ("/api/panels/done/gauge", {"bag_mbar": "NaN"}),
    ):
        status, _, answer = browser.ask("POST", path, body)
        assert status == 409
        assert json.loads(answer)["error"]


def test_fault_of_our_own_shows_nothing_of_its_inside(browser, monkeypatch, capfd):
    def broken(*given):
        raise RuntimeError("secret of the inside")

    monkeypatch.setattr("analysis.page.routes.shown.describe", broken)
    status, headers, body = browser.ask("GET", "/api/panels")
    assert status == 500
    assert json.loads(body) == {"error": "The page met a fault of its own at this request."}
    assert headers["x-content-type-options"] == "nosniff"
    shown = capfd.readouterr()
    assert shown.out + shown.err == ""


def test_busy_port_is_told(shop):
    port = urlsplit(shop[1].doors.url).port
    with pytest.raises(WetlineError, match=f"--port {port}: is in use"):
        PageServer(shop[1].watches, port=port).__enter__()


# -- scale points into panel.toml


def test_scale_points_are_checked(tmp_path):
    folder = write_panel(tmp_path / "p", scale=False)
    good = [(60.0, 50.0), (540.0, 50.0), (540.0, 306.0), (60.0, 306.0)]
    with pytest.raises(WetlineError, match="four corners"):
        save_scale(folder, good[:3], [], None, "a.jpg")
    with pytest.raises(WetlineError, match="the wrong way round: tap them"):
        save_scale(folder, good[::-1], [], None, "a.jpg")
    with pytest.raises(WetlineError, match="how far apart"):
        save_scale(folder, good, good[:2], None, "a.jpg")
    save_scale(folder, good, good[:2], 300.0, "a.jpg")
    assert read_toml(folder / "panel.toml")["scale"]["tape_mm"] == 300
    save_scale(folder, good, [], None, "a.jpg")
    assert "tape_mm" not in read_toml(folder / "panel.toml")["scale"]


def test_a_text_that_is_too_long_is_refused_not_cut():
    assert words(" wet  edge\n at the vent ") == "wet edge at the vent"
    assert words("a" * 300) == "a" * 300
    assert words(None) == ""
    with pytest.raises(WetlineError, match="the text has 301 letters: write at most 300"):
        words("a" * 301)
