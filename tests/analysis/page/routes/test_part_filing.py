"""A part's day by phone: photos, findings and marks on its plan, the record, and what is undone."""

import json
import shutil

import cv2
import pytest

from analysis.record.day.day_toml import read_day
from tests.made_up.infusion_answers import grey_photo, write_even_run
from tests.made_up.live_run import photo
from tests.made_up.page_browser import Browser

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402

DAY = "/api/panels/cover/day"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A part on the page that was run as planned; its day begins empty."""
    folder = tmp_path_factory.mktemp("shop") / "cover"
    write_even_run(folder)
    with PageServer(Watches(Panels(folder.parent)), port=0) as server:
        yield folder, Browser(server)


@pytest.fixture
def part(shop):
    yield shop
    (shop[0] / "day.toml").unlink(missing_ok=True)
    for name in ("stages", "taken_out"):
        shutil.rmtree(shop[0] / name, ignore_errors=True)
    for made in (shop[0] / "results").glob("*record*"):
        made.unlink()


def refused(browser, path, values):
    status, _, body = browser.ask("POST", f"{DAY}{path}", values)
    assert status == 409
    return json.loads(body)["error"]


def test_the_plan_to_mark_on_has_outline_feeds_and_the_front_as_seen(part):
    plan = part[1].values("GET", f"{DAY}/plan")
    assert (plan["length_mm"], plan["width_mm"], plan["y_runs"]) == (600, 300, "down")
    assert plan["corner_mm"] == [0, 0]
    assert plan["feeds"] == [{"name": "left line", "points": [[0, 0], [0, 300]]}]
    lines = [line for line in plan["lines"] if line["label"]]
    assert len(lines) >= 3
    middles = [sum(x for x, _ in line["points"]) / len(line["points"]) for line in lines]
    assert middles == sorted(middles)  # from the feed on the left to the right
    assert all(0 <= x <= 600 and 0 <= y <= 300 for line in lines for x, y in line["points"])


def test_a_plan_with_y_up_is_drawn_with_y_down(part):
    folder, browser = part
    file = folder / "part.toml"
    before = file.read_text(encoding="utf-8")
    turned = before.replace(
        "[600, 300], [0, 300]]", '[600, 300], [300, 320], [0, 300]]\ny_runs = "up"', 1
    )
    try:
        file.write_text(turned, encoding="utf-8")
        plan = browser.values("GET", f"{DAY}/plan")
    finally:
        file.write_text(before, encoding="utf-8")
    assert (plan["corner_mm"], plan["y_runs"]) == ([0, 320], "up")
    assert plan["rings"][0][:3] == [[0, 320], [600, 320], [600, 20]]
    assert plan["lines"] == []  # the run was of another part.toml


def test_findings_marks_and_photos_go_into_the_record(part):
    folder, browser = part
    shown = browser.values("GET", DAY)
    told = ("part", "cover of a roof unit", None)
    assert (shown["kind"], shown["name"], shown["report"]) == told
    sent = browser.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="bag", X_Note="pleat")
    assert sent == 200
    values = {"surface": "good", "weight_kg": "900 g", "done_by": "at the bench"}
    assert browser.status("POST", f"{DAY}/findings", values) == 200
    mark = {"kind": "pit", "x_mm": 450, "y_mm": 240, "note": "by the hose"}
    assert browser.status("POST", f"{DAY}/mark", mark) == 200
    assert "lies off the part" in refused(browser, "/mark", mark | {"x_mm": 700})
    (flow,) = browser.values("POST", f"{DAY}/record", {})["flow"]
    assert flow.startswith("wetted at ")
    assert "planned" in flow
    assert browser.values("GET", DAY)["report"] == "part_record.html"
    text = browser.ask("GET", "/results/cover/part_record.html")[2].decode()
    for words in ("pit (by the hose)", "Weight of the part", "Pleat.", "at the bench"):
        assert words in text
    assert browser.status("POST", f"{DAY}/unmark", mark | {"number": 1}) == 200
    assert read_day(folder).marks == ()


def taken_above():
    ok, data = cv2.imencode(".jpg", grey_photo())
    assert ok
    return data.tobytes()


def test_corners_tapped_in_a_photo_bring_the_fronts_into_the_record(part):
    folder, browser = part
    led = browser.values("GET", f"{DAY}/corners")
    assert led["fewest"] == 4
    taps = [[60 + 0.8 * x, 60 + 0.8 * y] for x, y in (point["mm"] for point in led["points"])]
    swapped = [taps[1], taps[0], *taps[2:]]
    for wrong, told in ((swapped, "exchanged"), (taps[:3], "at least 4"), (3, "not understood")):
        headers = {"X_Stage": "end of fill", "X_Corners": json.dumps(wrong)}
        status, _, body = browser.ask("POST", f"{DAY}/photo", taken_above(), **headers)
        assert status == 409
        assert json.loads(body)["error"].startswith(("corners: ", "scale points: "))
        assert told in json.loads(body)["error"]
    headers["X_Corners"] = json.dumps(taps)
    assert browser.status("POST", f"{DAY}/photo", taken_above(), **headers) == 200
    (filed,) = read_day(folder).photos
    assert [list(place) for place in filed.corners_px] == taps
    assert sorted(filed.points_mm) == [(0, 0), (0, 300), (600, 0), (600, 300)]
    assert browser.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="bag") == 200
    assert browser.status("POST", f"{DAY}/record", {}) == 200
    text = (folder / "results" / "part_record.html").read_text(encoding="utf-8")
    assert "planned and seen front by the corners tapped in it" in text.lower()
    assert "no lines: the part could not be found in it: it needs its corners" in text.lower()


def test_a_photo_filed_by_mistake_is_kept_aside_and_the_record_says_so(part):
    folder, browser = part
    for stage, t in (("bag", 0.0), ("stack", 5.0)):
        assert browser.status("POST", f"{DAY}/photo", photo(t), X_Stage=stage) == 200
    before = (folder / "stages" / "bag.jpg").read_bytes()
    told = refused(browser, "/unphoto", {"file": "stages/bag.jpg", "stage": "stack"})
    assert "no such photo is filed" in told
    assert "no such photo is filed" in refused(browser, "/unphoto", {"file": "../part.toml"})
    out = browser.values("POST", f"{DAY}/unphoto", {"file": "stages/bag.jpg", "stage": "bag"})
    assert out["out"]["kept"] == "taken_out/bag.jpg"
    assert (folder / "taken_out" / "bag.jpg").read_bytes() == before
    assert not (folder / "stages" / "bag.jpg").exists()
    assert [one["stage"] for one in browser.values("GET", DAY)["photos"]] == ["stack"]
    assert browser.status("GET", "/stages/cover/bag.jpg") == 404
    assert browser.status("POST", f"{DAY}/record", {}) == 200
    text = (folder / "results" / "part_record.html").read_text(encoding="utf-8")
    assert "a photo filed as bag. It is kept: taken_out/bag.jpg" in text
    kept = json.loads((folder / "results" / "record.json").read_text(encoding="utf-8"))
    assert "taken_out/bag.jpg" in kept["inputs_sha256"]
    assert "stages/bag.jpg" not in kept["inputs_sha256"]
    assert browser.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="bag") == 200  # anew


def test_without_a_run_the_record_waits(part):
    folder, browser = part
    numbers = folder / "results" / "part_run.json"
    held = numbers.read_bytes()
    try:
        numbers.unlink()
        assert "run `wetline run` on this part first" in refused(browser, "/record", {})
    finally:
        numbers.write_bytes(held)


def test_a_result_older_than_its_part_toml_is_not_shown_as_if_it_held(part):
    folder, browser = part
    (listed,) = browser.values("GET", "/api/panels")["panels"]
    assert listed["verdict"] == "as planned so far"
    file = folder / "part.toml"
    before = file.read_text(encoding="utf-8")
    try:
        file.write_text(before.replace("viscosity_mpas = 300", "viscosity_mpas = 320"))
        (listed,) = browser.values("GET", "/api/panels")["panels"]
    finally:
        file.write_text(before, encoding="utf-8")
    assert listed["verdict"] == "out of date"
    assert "has changed since this run: run it again" in listed["reason"]
    assert listed["rows"][0]["more"][1] == "Before that: AS PLANNED SO FAR"
