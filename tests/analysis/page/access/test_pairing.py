"""How a phone is let in, and how a guesser is kept out."""

import http.client
import time

import pytest

from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.certificate import make_certificate, server_context  # noqa: E402
from analysis.page.access.pairing import (  # noqa: E402
    CODE_S,
    LOCKED_S,
    MOST_TRIES,
    MOST_WRONG,
    SESSION_S,
    Pairing,
    clean_code,
    new_code,
    shown_code,
)
from analysis.page.access.rights import ALL, ONLY_PICTURES  # noqa: E402
from analysis.page.doors import door_lines  # noqa: E402
from analysis.page.qr import qr_svg, qr_terminal  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """The same on the network, over HTTPS."""
    root = tmp_path_factory.mktemp("shared")
    write_panel(root / "strip")
    with PageServer(Watches(Panels(root)), share=True, port=0) as server:
        yield server


def test_network_needs_https_and_the_code(shared):
    assert shared.doors.address.startswith("https://")
    stranger = Browser(shared)
    assert stranger.status("GET", "/api/panels") == 401
    assert stranger.status("GET", "/api/panels/strip/board") == 401
    assert stranger.status("GET", "/results/strip/report.html") == 303
    assert stranger.status("GET", "/api/devices") == 401
    assert stranger.status("POST", "/api/invite", {}) == 401
    assert stranger.status("POST", "/api/panels/strip/start", {}) == 401
    assert stranger.status("GET", "/") == 303
    assert stranger.status("GET", "/pair") == 200
    stranger.cookie = "wetline_session=guess"
    assert stranger.status("GET", "/api/panels") == 401
    phone = Browser(shared)
    code = shared.pairing.invite(ALL).code
    assert phone.pair(f"{code[:4]} {code[4:]}".lower()) == 200
    assert phone.status("GET", "/api/panels") == 200


def test_session_cookie_is_kept_from_scripts_and_other_sites(shared):
    _, headers, _ = Browser(shared).ask("POST", "/pair", {"code": shared.pairing.invite(ALL).code})
    cookie = headers["set-cookie"].lower()
    for word in ("httponly", "secure", "samesite=strict"):
        assert word in cookie


def test_plain_http_gets_nothing_from_a_shared_page(shared):
    browser = Browser(shared)
    browser.secure = False
    with pytest.raises((http.client.HTTPException, OSError)):
        browser.ask("GET", "/")


class Clock:
    """Time that goes on when told to."""

    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def test_a_code_is_used_once(clock):
    pairing = Pairing(now=clock)
    code = pairing.invite(ONLY_PICTURES, "strip").code
    assert pairing.open_session(code, "192.0.2.5") is not None
    assert pairing.open_session(code, "192.0.2.6") is None


def test_a_code_expires(clock):
    pairing = Pairing(now=clock)
    code = pairing.invite(ONLY_PICTURES, "strip").code
    clock.now = CODE_S - 1
    assert pairing.is_good(code)
    clock.now = CODE_S
    assert not pairing.is_good(code)
    assert pairing.open_session(code, "192.0.2.5") is None


def test_guessing_the_code_is_slowed_down(clock):
    pairing = Pairing(now=clock)
    code = pairing.invite(ALL).code
    for k in range(MOST_TRIES):
        assert pairing.wait_s("192.0.2.5") == 0
        assert pairing.open_session(f"WRONG{k}", "192.0.2.5") is None
    assert 59 < pairing.wait_s("192.0.2.5") <= 60
    assert pairing.open_session(code, "192.0.2.5") is None  # not even the right one
    clock.now = 61.0
    assert pairing.open_session(code, "192.0.2.5") is not None


def test_thirty_wrong_codes_lock_out_their_address_and_no_other(clock):
    pairing = Pairing(now=clock)
    for _ in range(MOST_WRONG):
        clock.now += 61.0
        assert pairing.open_session("WRONG", "192.0.2.5") is None
    clock.now += 61.0
    code = pairing.invite(ALL).code
    assert pairing.wait_s("192.0.2.5") == pytest.approx(LOCKED_S - 61)
    assert pairing.open_session(code, "192.0.2.5") is None
    assert pairing.locked_out() == ["192.0.2.5"]
    assert pairing.open_session(code, "192.0.2.6") is not None
    assert pairing.pardon("192.0.2.5")
    assert pairing.open_session(pairing.invite(ALL).code, "192.0.2.5") is not None


def test_many_guessing_addresses_do_not_lock_out_the_shop_or_fill_the_memory(clock):
    pairing = Pairing(now=clock)
    code = pairing.invite(ALL).code
    for k in range(9000):
        pairing.open_session("NO", f"10.{k // 60000}.{k // 250 % 250}.{k % 250}")
    assert len(pairing._tries) <= 4096
    assert pairing.open_session(code, "192.0.2.6") is not None


def test_served_page_says_how_long_to_wait(tmp_path):
    write_panel(tmp_path / "p")
    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        browser = Browser(server)
        assert [browser.pair("NO") for _ in range(6)] == [403] * 5 + [429]
        body = {"code": server.pairing.invite(ALL).code}
        status, headers, answer = browser.ask("POST", "/pair", body)
        assert status == 429
        assert int(headers["retry-after"]) > 50
        assert b"Wait" in answer


def test_codes_are_compared_in_constant_time(monkeypatch):
    """By hmac.compare_digest alone, which is what its documentation gives it for."""
    calls = []

    class Watching:
        compare_digest = staticmethod(lambda a, b: calls.append((a, b)) or a == b)

    monkeypatch.setattr("analysis.page.access.pairing.hmac", Watching)
    pairing = Pairing()
    first, second = pairing.invite(ALL).code, pairing.invite(ALL).code
    secret, device = pairing.open_session(f"{first[:4]}-{first[4:]}".lower(), "a")
    assert calls == [(first.encode(), c.encode()) for c in (first, second)]
    assert pairing.device(secret) == device
    assert len(calls) == 3


def test_session_ends(clock):
    pairing = Pairing(now=clock)
    secret, device = pairing.open_session(pairing.invite(ALL).code, "a")
    assert pairing.device(secret) == device
    clock.now = SESSION_S + 1
    assert pairing.device(secret) is None
    assert pairing.devices() == []


def test_forgotten_device_is_out_at_once(clock):
    pairing = Pairing(now=clock)
    secret, device = pairing.open_session(pairing.invite(ALL, None, "Old phone").code, "a")
    assert [d.name for d, _ in pairing.devices()] == ["Old phone"]
    assert pairing.forget(device.key)
    assert pairing.device(secret) is None
    assert not pairing.forget(device.key)


def test_code_stands_in_no_list_of_processes(tmp_path):
    """What the browser is started with names a file that only this user may read."""
    write_panel(tmp_path / "p")
    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        launcher = server.doors.launcher
        page = launcher.read_text(encoding="utf-8")
        code = page.split("pair#")[1][:8]
        assert server.pairing.is_good(code)
        for text in (server.doors.to_open, server.doors.url, server.doors.address):
            assert code not in text
        if launcher.stat().st_mode & 0o777 != 0o666:  # Windows keeps no such bits
            assert launcher.stat().st_mode & 0o077 == 0
        browser = Browser(server)
        assert browser.pair(code) == 200
        until = time.monotonic() + 60
        while launcher.exists() and time.monotonic() < until:
            time.sleep(0.05)
        assert not launcher.exists()  # of no use once the code is


def test_codes_for_the_terminal(tmp_path):
    """The desk may do everything; the phone's is for pictures of the one panel."""
    write_panel(tmp_path / "p")
    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        desk, phone = server.new_codes()
        assert (desk.rights, desk.panel) == (ALL, None)
        assert (phone.rights, phone.panel) == (ONLY_PICTURES, "p")
        lines = "\n".join(door_lines(server.doors, [desk, phone]))
        assert shown_code(desk.code) in lines
        assert "a phone that takes pictures and notes of p: " + shown_code(phone.code) in lines
        write_panel(tmp_path / "q")
        assert len(server.new_codes()) == 1


def test_codes_are_long_and_differ():
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(len(code) == 8 and not set(code) & set("01IO") for code in codes)
    assert clean_code(" abcd-efgh ") == "ABCDEFGH"


def test_certificate_names_the_hosts_and_hides_its_key(tmp_path):
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    made = make_certificate(tmp_path, ["localhost", "192.0.2.4", "[::1]"])
    read = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["localhost"]
    addresses = names.get_values_for_type(x509.IPAddress)
    assert [str(a) for a in addresses] == ["192.0.2.4", "::1"]
    assert len(made.fingerprint.split(":")) == 32
    if made.key.stat().st_mode & 0o777 != 0o666:  # Windows keeps no such bits
        assert made.key.stat().st_mode & 0o077 == 0
    with pytest.raises(TypeError):  # locked: says the cryptography library
        load_pem_private_key(made.key.read_bytes(), None)
    key = load_pem_private_key(made.key.read_bytes(), made.password.encode())
    assert key.public_key() == read.public_key()


def test_key_is_off_the_disk_before_anything_is_served(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    context, fingerprint = server_context(["localhost"])
    assert len(fingerprint.split(":")) == 32
    assert context.cert_store_stats() == {"x509": 0, "crl": 0, "x509_ca": 0}
    assert list(tmp_path.iterdir()) == []


def test_qr_picture_reads_back():
    """OpenCV's own QR reader, a library of its own, reads what is drawn."""
    import cv2
    import numpy as np
    import segno

    text = "https://192.0.2.4:8484/pair#ABCDEFGH"
    assert qr_svg(text).count("<path") >= 1
    assert len(qr_terminal(text).splitlines()) > 10
    cells = np.array([list(row) for row in segno.make(text, error="m", micro=False).matrix])
    image = np.kron(np.pad(1 - cells, 4, constant_values=1), np.ones((8, 8))) * 255
    read, *_ = cv2.QRCodeDetector().detectAndDecode(image.astype(np.uint8))
    assert read == text
