"""How a phone is let in, and how a guesser is kept out."""

import http.client

import pytest

from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.certificate import make_certificate  # noqa: E402
from analysis.page.pairing import MOST_TRIES, SESSION_S, Pairing, clean_code, new_code  # noqa: E402
from analysis.page.panels import Panels  # noqa: E402
from analysis.page.server import PageServer, qr_svg, qr_terminal  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """The same on the network, over HTTPS."""
    root = tmp_path_factory.mktemp("shared")
    write_panel(root / "strip")
    with PageServer(Watches(Panels(root)), share=True, port=0) as server:
        yield server


def test_network_needs_https_and_the_code(shared):
    assert shared.doors.pair_url.startswith("https://")
    stranger = Browser(shared)
    assert stranger.status("GET", "/api/panels") == 401
    assert stranger.status("GET", "/api/panels/strip/board") == 401
    assert stranger.status("GET", "/results/strip/report.html") == 303
    assert stranger.status("GET", "/api/qr") == 401
    assert stranger.status("POST", "/api/panels/strip/start", {}) == 401
    assert stranger.status("GET", "/") == 303
    assert stranger.status("GET", "/pair") == 200
    stranger.cookie = "wetline_session=guess"
    assert stranger.status("GET", "/api/panels") == 401
    phone = Browser(shared)
    assert phone.pair(shared.doors.code.lower().replace("-", " ")) == 200
    assert phone.status("GET", "/api/panels") == 200
    assert b"<svg" in phone.ask("GET", "/api/qr")[2]
    assert phone.values("GET", "/api/share")["code"] == shared.doors.code
    assert stranger.status("GET", "/api/share") == 401


def test_session_cookie_is_kept_from_scripts_and_other_sites(shared):
    _, headers, _ = Browser(shared).ask("POST", "/pair", {"code": shared.doors.code})
    cookie = headers["set-cookie"].lower()
    for word in ("httponly", "secure", "samesite=strict"):
        assert word in cookie


def test_plain_http_gets_nothing_from_a_shared_page(shared):
    browser = Browser(shared)
    browser.secure = False
    with pytest.raises((http.client.HTTPException, OSError)):
        browser.ask("GET", "/")


def test_guessing_the_code_is_slowed_down():
    now = [0.0]
    pairing = Pairing("ABCDEFGH", lambda: now[0])
    for k in range(MOST_TRIES):
        assert pairing.wait_s("192.0.2.5") == 0
        assert pairing.open_session(f"WRONG{k}", "192.0.2.5") is None
    assert 59 < pairing.wait_s("192.0.2.5") <= 60
    assert pairing.open_session("ABCDEFGH", "192.0.2.5") is None  # not even the right one
    assert pairing.open_session("ABCDEFGH", "192.0.2.6") is not None
    now[0] = 61.0
    assert pairing.open_session("ABCDEFGH", "192.0.2.5") is not None


def test_guessing_from_many_addresses_is_slowed_down_too():
    pairing = Pairing("ABCDEFGH", lambda: 0.0)
    tries = 0
    for k in range(2000):
        if pairing.wait_s(f"10.0.{k // 250}.{k % 250}") == 0:
            pairing.open_session("NO", f"10.0.{k // 250}.{k % 250}")
            tries += 1
    assert tries == 30


def test_served_page_says_how_long_to_wait(tmp_path):
    write_panel(tmp_path / "p")
    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        browser = Browser(server)
        assert [browser.pair("NO") for _ in range(6)] == [403] * 5 + [429]
        status, headers, body = browser.ask("POST", "/pair", {"code": server.doors.code})
        assert status == 429
        assert int(headers["retry-after"]) > 50
        assert b"Wait" in body


def test_code_is_compared_in_constant_time(monkeypatch):
    """By hmac.compare_digest alone, which is what its documentation gives it for."""
    calls = []

    class Watching:
        compare_digest = staticmethod(lambda a, b: calls.append((a, b)) or a == b)

    monkeypatch.setattr("analysis.page.pairing.hmac", Watching)
    pairing = Pairing("ABCDEFGH")
    secret = pairing.open_session("abcd-efgh", "a")
    assert calls == [(b"ABCDEFGH", b"ABCDEFGH")]
    assert pairing.knows(secret)
    assert len(calls) == 2


def test_session_ends():
    now = [0.0]
    pairing = Pairing("ABCDEFGH", lambda: now[0])
    secret = pairing.open_session("ABCDEFGH", "a")
    assert pairing.knows(secret)
    now[0] = SESSION_S + 1
    assert not pairing.knows(secret)


def test_codes_are_long_and_differ():
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(len(code) == 8 and not set(code) & set("01IO") for code in codes)
    assert clean_code(" abcd-efgh ") == "ABCDEFGH"


def test_certificate_names_the_hosts_and_hides_its_key(tmp_path):
    from cryptography import x509

    made = make_certificate(tmp_path, ["localhost", "192.0.2.4", "[::1]"])
    read = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["localhost"]
    addresses = names.get_values_for_type(x509.IPAddress)
    assert [str(a) for a in addresses] == ["192.0.2.4", "::1"]
    assert len(made.fingerprint.split(":")) == 32
    if made.key.stat().st_mode & 0o777 != 0o666:  # Windows keeps no such bits
        assert made.key.stat().st_mode & 0o077 == 0


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
