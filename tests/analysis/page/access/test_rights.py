"""What each kind of device may do: every address of the page against every right."""

import pytest

from tests.made_up.live_run import photo, write_panel
from tests.made_up.page_browser import Browser
from vision.errors import WetlineError

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.rights import (  # noqa: E402
    ALL,
    ONLY_PICTURES,
    PICTURES,
    RIGHTS,
    SEE,
    Device,
    chosen_rights,
)
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402

DOORS = {
    "pictures": [
        "GET /camera/{panel}",
        "GET /api/panels/{panel}/camera",
        "POST /api/panels/{panel}/frame",
        "POST /api/panels/{panel}/note",
        "POST /api/panels/{panel}/photo",
        "GET /day/{panel}",
        "GET /api/panels/{panel}/day",
        "GET /api/panels/{panel}/day/corners",
        "POST /api/panels/{panel}/day/photo",
    ],
    "see": [
        "GET /",
        "GET /panel/{panel}",
        "GET /results/{panel}/{name}",
        "GET /stages/{panel}/{name}",
        "GET /api/panels",
        "GET /api/panels/{panel}",
        "GET /api/panels/{panel}/board",
        "GET /api/panels/{panel}/picture",
        "GET /api/panels/{panel}/chart",
    ],
    "file": [
        "GET /api/panels/{panel}/day/plan",
        "POST /api/panels/{panel}/day/findings",
        "POST /api/panels/{panel}/day/mark",
        "POST /api/panels/{panel}/day/record",
        "POST /api/panels/{panel}/day/unmark",
        "POST /api/panels/{panel}/day/unphoto",
    ],
    "run": [
        "GET /new",
        "GET /api/new",
        "POST /api/new",
        "POST /api/panels/{panel}/run",
        "POST /api/panels/{panel}/start",
        "POST /api/panels/{panel}/stop",
        "POST /api/panels/{panel}/end",
        "POST /api/panels/{panel}/stamp",
        "POST /api/panels/{panel}/gauge",
    ],
    "scale": [
        "GET /corners/{panel}",
        "GET /api/panels/{panel}/first",
        "GET /api/panels/{panel}/outline",
        "POST /api/panels/{panel}/corners",
    ],
    "pair": [
        "GET /share",
        "POST /api/invite",
        "GET /api/devices",
        "POST /api/devices/change",
        "POST /api/devices/forget",
        "POST /api/devices/pardon",
    ],
    None: ["GET /pair", "POST /pair", "GET /static/{name}", "GET /favicon.ico"],
}


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    root = tmp_path_factory.mktemp("shared")
    for name in ("strip", "lid"):
        write_panel(root / name)
    with PageServer(Watches(Panels(root)), share=True, port=0) as server:
        yield server
        server.watches.close()


def paired(server, rights, panel=None):
    browser = Browser(server)
    assert browser.pair(server.pairing.invite(frozenset(rights), panel).code) == 200
    return browser


def test_every_address_stands_here_with_its_right(shared):
    """A new address has to be thought about: it is shut until it is in the table above."""
    found = {}
    for door in shared._page.doors:
        found.setdefault(door.right, []).append(f"{door.method} {door.path}")
    assert {k: sorted(v) for k, v in found.items()} == {k: sorted(v) for k, v in DOORS.items()}


@pytest.mark.parametrize("right", sorted(set(DOORS) - {None}))
def test_without_its_right_an_address_is_shut(shared, right):
    """A device with every other right is refused; one with this right alone gets past the door."""
    others = paired(shared, set(RIGHTS) - {right})
    alone = paired(shared, {right}, "strip")
    for door in DOORS[right]:
        method, path = door.split()
        path = path.format(panel="strip", name="report.html")
        shut, _, body = others.ask(method, path, {} if method == "POST" else None)
        assert shut in (303, 403), door
        assert shut == 303 or b"may not do that" in body, door
        opened, _, body = alone.ask(method, path, {} if method == "POST" else None)
        assert opened not in (303, 401), door
        assert b"may not do that" not in body, door


def test_phone_for_pictures_takes_pictures_and_notes_of_its_run_and_nothing_else(shared):
    desk, phone = paired(shared, ALL), paired(shared, ONLY_PICTURES, "strip")
    assert phone.ask("GET", "/")[1]["location"] == "/camera/strip"
    assert phone.status("GET", "/camera/strip") == 200
    assert phone.status("POST", "/api/panels/strip/start", {}) == 403
    assert phone.status("POST", "/api/panels/strip/frame", photo(-20)) == 409  # not begun
    assert desk.status("POST", "/api/panels/strip/start", {"interval_s": 5}) == 200
    assert phone.values("POST", "/api/panels/strip/frame", photo(-10)) == {"ok": True}
    assert phone.status("POST", "/api/panels/strip/note", {"text": "bag pressed down"}) == 200
    assert phone.status("POST", "/api/panels/strip/photo", photo(0)) == 200
    assert set(phone.values("GET", "/api/panels/strip/camera")) == {
        "id", "name", "length_mm", "width_mm", "state", "camera", "interval_s", "rights",
    }  # fmt: skip
    for path in ("stamp", "end", "gauge", "corners", "start"):
        assert phone.status("POST", f"/api/panels/strip/{path}", {"kind": "clamp"}) == 403
    for path in ("", "/board", "/picture", "/chart", "/first"):
        assert phone.status("GET", f"/api/panels/strip{path}") == 403
    for method, path in (("GET", "camera"), ("POST", "frame"), ("POST", "note"), ("POST", "photo")):
        body = {} if method == "POST" else None
        assert phone.status(method, f"/api/panels/lid/{path}", body) == 403  # another panel
    for method, path in (("GET", "/api/devices"), ("POST", "/api/invite"), ("GET", "/api/panels")):
        assert phone.status(method, path, {} if method == "POST" else None) == 403


def test_computer_camera_is_a_right_of_its_own(shared):
    phone = paired(shared, {PICTURES, "run"}, "lid")
    status, _, body = phone.ask("POST", "/api/panels/lid/start", {"camera": "0"})
    assert status == 403
    assert b"may not use the computer's camera" in body


def test_nobody_hands_on_what_they_may_not_do(shared):
    desk = paired(shared, ALL)
    foreman = paired(shared, {PICTURES, SEE, "pair"}, "strip")
    wish = {"rights": ["pictures", "run"], "panel": "strip"}
    assert foreman.status("POST", "/api/invite", wish) == 403
    assert foreman.status("POST", "/api/invite", {"rights": ["pictures"], "panel": "lid"}) == 403
    made = foreman.values("POST", "/api/invite", {"rights": ["pictures"], "panel": "strip"})
    assert "<svg" in made["svg"]
    devices = {d["name"]: d for d in desk.values("GET", "/api/devices")["devices"]}
    mine = next(d for d in devices.values() if d["mine"])
    for path in ("forget", "change"):
        body = {"key": mine["key"], "rights": ["pictures"], "panel": "strip"}
        assert foreman.status("POST", f"/api/devices/{path}", body) == 403
        assert desk.status("POST", f"/api/devices/{path}", body) == 409  # oneself


def test_rights_are_changed_and_forgotten_at_the_desk(shared):
    desk = paired(shared, ALL)
    made = desk.values("POST", "/api/invite", {"rights": [], "panel": "lid", "name": "Bench phone"})
    phone = Browser(shared)
    assert phone.pair(made["code"]) == 200
    listed = desk.values("GET", "/api/devices")["devices"]
    device = next(d for d in listed if d["name"] == "Bench phone")
    assert (device["rights"], device["panel"]) == (["pictures"], "lid")
    assert phone.status("GET", "/api/panels") == 403
    change = {"key": device["key"], "rights": ["see"], "panel": "lid"}
    assert desk.status("POST", "/api/devices/change", change) == 200
    assert [p["id"] for p in phone.values("GET", "/api/panels")["panels"]] == ["lid"]
    assert desk.status("POST", "/api/devices/forget", {"key": device["key"]}) == 200
    assert phone.status("GET", "/api/panels") == 401
    assert any("Forgotten: Bench phone" in x for x in desk.values("GET", "/api/devices")["events"])


def test_rights_are_checked():
    assert chosen_rights(["run"], "strip") == {"run", "pictures"}
    with pytest.raises(WetlineError, match="must be among pictures, see"):
        chosen_rights(["root"], "strip")
    with pytest.raises(WetlineError, match="choose the panel"):
        chosen_rights([], None)
    assert not Device("a", "b").may("see")
