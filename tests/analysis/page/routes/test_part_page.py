"""A part on the page: its board, its buttons, its results, and what is refused for parts."""

import json

import pytest

from tests.made_up.live_part import PartShop, empty_part, made_run, with_more
from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser
from tests.made_up.part_season import part_run
from vision.settings.event_log import RESIN_OPEN

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.rights import PICTURES, RUN, SEE  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels, panel_size_mm  # noqa: E402
from analysis.page.watches import Watches, folder_name  # noqa: E402

LOOKS = 12


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A part a few looks into its run, on the page, shared."""
    made, _, photos = made_run()
    root = tmp_path_factory.mktemp("shop")
    folder = with_more(empty_part(made, root / "cover"))
    watches = Watches(Panels(folder))
    with PartShop(folder) as part, PageServer(watches, share=True, port=0) as server:
        watches.adopt(folder_name(folder), part.watch)
        opened = False
        for t, photo, _ in photos[:LOOKS]:
            if t > 0 and not opened:
                part.t, opened = 0.0, True
                part.watch.stamp(RESIN_OPEN)
            part.take(t, photo)
        yield part, server


def device(server, *rights):
    browser = Browser(server)
    assert browser.pair(server.pairing.invite(frozenset(rights), "cover").code) == 200
    return browser


def test_the_board_of_a_part(shop):
    server = shop[1]
    view = device(server, SEE).values("GET", "/api/panels/cover/board?wait=0")
    assert (view["kind"], view["state"], view["watched"]) == ("part", "running", True)
    share = made_run()[2][LOOKS - 1][2]
    assert view["wet_share"] == pytest.approx(share, abs=0.02)
    assert 0.0 <= view["unseen_share"] < 0.2
    assert view["end_low_s"] <= view["end_s"] <= view["end_high_s"]
    assert ("corrected" in view["forecast"]) == view["learnt"] == bool(view["values"])
    assert [feed["name"] for feed in view["feeds"]] == ["second line"]
    assert view["feeds"][0]["state"] == "not yet"
    assert view["vents"] == [
        {"name": "far edge", "shut": False}, {"name": "middle", "shut": False}
    ]  # fmt: skip
    assert f"{100 * view['wet_share']:.0f} % of the part wet" in view["chart_text"]


def test_its_picture_and_chart(shop):
    see = device(shop[1], SEE)
    status, headers, wide = see.ask("GET", "/api/panels/cover/picture")
    assert (status, headers["content-type"]) == (200, "image/jpeg")
    narrow = see.ask("GET", "/api/panels/cover/picture?narrow=1")[2]
    assert narrow.startswith(b"\xff\xd8")  # a JPEG
    assert narrow != wide
    chart = see.ask("GET", "/api/panels/cover/chart?narrow=1")[2].decode()
    assert "planned" in chart


def test_a_feed_and_a_vent_are_noted_and_taken_back_by_who_may(shop):
    part, server = shop
    run, pictures = device(server, SEE, RUN), device(server, PICTURES)
    path = "/api/panels/cover/stamp"
    said = run.values("POST", path, {"kind": "feed open", "name": "second line", "age_s": 5})
    assert said == {"ok": True, "said": "noted: second line is open"}
    assert run.status("POST", path, {"kind": "vent clamped", "name": "far edge"}) == 200
    part.watch.follow_once(0.0)
    view = run.values("GET", "/api/panels/cover/board?wait=0")
    assert view["feeds"][0]["opened"]
    assert [vent["shut"] for vent in view["vents"]] == [True, False]
    for kind, name in (("feed not open", "second line"), ("vent not clamped", "far edge")):
        assert run.status("POST", path, {"kind": kind, "name": name}) == 200
    part.watch.follow_once(0.0)
    view = run.values("GET", "/api/panels/cover/board?wait=0")
    assert not view["feeds"][0]["opened"]
    assert not any(vent["shut"] for vent in view["vents"])
    assert pictures.status("POST", path, {"kind": "vent clamped", "name": "far edge"}) == 403


@pytest.mark.parametrize(
    "asked",
    [
        {"kind": "feed open", "name": "third line"},
        {"kind": "vent clamped", "name": "<b>"},
        {"kind": "vent clamped"},
        {"kind": "note", "name": "far edge"},
    ],
)
def test_what_part_toml_does_not_have_is_refused_in_a_line(shop, asked):
    run = device(shop[1], SEE, RUN)
    status, _, body = run.ask("POST", "/api/panels/cover/stamp", asked)
    assert status == 409
    assert json.loads(body)["error"]


def test_a_gauge_reading_stays_on_the_board(shop):
    run = device(shop[1], SEE, RUN)
    assert run.status("POST", "/api/panels/cover/gauge", {"bag_mbar": 12.5}) == 200
    gauge = run.values("GET", "/api/panels/cover/board?wait=0")["gauge"]
    assert gauge["bag_mbar"] == 12.5
    assert gauge["ago_s"] < 60.0


def test_parts_with_photos_are_listed_among_panels(tmp_path):
    made = made_run()[0]
    write_panel(tmp_path / "strip")
    part = empty_part(made, tmp_path / "cover")
    plan_only = empty_part(made, tmp_path / "plan only") / "part.toml"
    text = plan_only.read_text(encoding="utf-8")
    plan_only.write_text(text.replace("[frames]", "[other]"), encoding="utf-8")
    (part / "results").mkdir()
    seen = {"doubts": ["hidden for long"], "warnings": ["2 photos left out"]}
    told = {
        "seen": seen,
        "answer": "uneven",
        "reason": "61 % wet after 15 min; one place is unlike",
    }
    (part / "results" / "part_run.json").write_text(json.dumps(told))
    with PageServer(Watches(Panels(tmp_path)), port=0) as server:
        listed = {p["id"]: p for p in Browser(server).values("GET", "/api/panels")["panels"]}
        assert sorted(listed) == ["cover", "strip"]
        assert listed["cover"]["verdict"] == "uneven"
        assert listed["cover"]["reason"] == told["reason"]
        assert listed["cover"]["scale"]
        assert listed["cover"]["rows"] == [
            {"label": "Verdict", "text": "UNEVEN", "more": [told["reason"], "hidden for long"]},
            {"label": "Warning", "text": "2 photos left out", "more": []},
        ]
        (part / "results" / "part_run.json").write_text('{"seen": 3}')
        again = Browser(server).values("GET", "/api/panels/cover")
        assert "run it again" in again["reason"] or "again" in again["reason"]
        assert again["kind"] == "part"
    assert panel_size_mm(part) == (480.0, 320.0)


def test_a_part_is_started_from_the_page(tmp_path):
    part = empty_part(made_run()[0], tmp_path / "cover")
    other = part_run(tmp_path / "other shop" / "day_1")
    watches = Watches(Panels(tmp_path), good_parts=[other])
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        start = {"camera": "phone", "interval_s": 5}
        assert browser.values("POST", "/api/panels/cover/start", start)["ok"]
        view = browser.values("GET", "/api/panels/cover/board?wait=0")
        assert view["kind"] == "part"
        assert view["good_left_out"] == [
            "day_1: its outline or holes are not those of this part"
        ]  # fmt: skip
        sent = browser.values("POST", "/api/panels/cover/frame", made_run()[2][0][1])
        assert sent == {"ok": True}
        assert len(list((part / "frames").iterdir())) == 1
        watches.close()
