"""What a phone files: photos, findings and marks, as they stand in the panel's day afterwards."""

import io
import json
import threading

import pytest
from PIL import Image

from analysis.record.day.day_toml import read_day
from tests.made_up.live_run import photo, write_panel
from tests.made_up.page_browser import Browser

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.access.rights import ALL, ONLY_PICTURES  # noqa: E402
from analysis.page.routes.filing import has_own_time  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402

DAY = "/api/panels/strip/day"


@pytest.fixture
def shop(tmp_path):
    folder = write_panel(tmp_path / "strip")
    with PageServer(Watches(Panels(tmp_path)), port=0) as server:
        yield folder, Browser(server)


def dated(time_s, taken):
    """A photo whose header says when it was taken."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[36867] = taken
    out = io.BytesIO()
    with Image.open(io.BytesIO(photo(time_s))) as image:
        image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_photo_is_filed_with_stage_note_and_its_own_time(shop):
    folder, browser = shop
    picture = dated(0.0, "2031:05:20 09:41:00")
    headers = {"X_Stage": "bag", "X_Note": "pleat at the vent, %C3%BCberlappt"}
    status, _, body = browser.ask("POST", f"{DAY}/photo", picture, **headers)
    assert status == 200
    assert json.loads(body)["photo"]["stage"] == "bag"
    (filed,) = read_day(folder).photos
    assert (filed.time, filed.time_from) == ("2031-05-20T09:41:00", "photo")
    assert filed.note == "pleat at the vent, überlappt"
    assert (folder / filed.file).read_bytes() == picture
    again, _, body = browser.ask("POST", f"{DAY}/photo", picture, **headers)
    assert again == 409
    assert "filed already" in json.loads(body)["error"]  # a phone that sends twice files once
    assert len(read_day(folder).photos) == 1


def test_corners_tapped_on_the_photo_are_filed_with_it(shop):
    folder, browser = shop
    corners = [[60.2, 50], [540, 50], [540, 306], [60, 306]]
    for wrong, told in ((corners[:3], "four are needed"), (corners[::-1], "clockwise"), (3, "not")):
        headers = {"X_Stage": "demoulded face", "X_Corners": json.dumps(wrong)}
        status, _, body = browser.ask("POST", f"{DAY}/photo", photo(0.0), **headers)
        assert status == 409
        assert told in json.loads(body)["error"]
    headers["X_Corners"] = json.dumps(corners)
    assert browser.status("POST", f"{DAY}/photo", photo(0.0), **headers) == 200
    (filed,) = read_day(folder).photos
    assert [list(corner) for corner in filed.corners_px] == corners


def test_photo_without_a_time_of_its_own_says_where_its_time_is_from(shop):
    folder, browser = shop
    sent = browser.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="stack", X_Age_Ms="60000")
    assert sent == 200
    (filed,) = read_day(folder).photos
    assert filed.time_from == "file"
    assert not has_own_time(photo(0.0))
    assert has_own_time(dated(0.0, "2031:05:20 09:41:00"))
    assert not has_own_time(b"nothing")


def test_two_phones_at_once_lose_nothing(shop):
    folder, browser = shop
    answers = []

    def file(k):
        answers.append(browser.status("POST", f"{DAY}/mark", {"kind": "pit", "x_mm": k, "y_mm": 1}))

    phones = [threading.Thread(target=file, args=(k,)) for k in range(12)]
    for phone in phones:
        phone.start()
    for phone in phones:
        phone.join()
    assert answers == [200] * 12
    assert sorted(mark.x_mm for mark in read_day(folder).marks) == list(range(12))


def test_findings_are_filed_and_taken_out_again(shop):
    folder, browser = shop
    values = {
        "surface": "good",
        "pits": "few",
        "thickness_mm": ["2,1", "2.0", "2.1", "2.2", "2.1"],
        "weight_kg": "850 g",
        "resin_used_kg": "0,62",
        "note": "  weave shows\nat the vent ",
        "done_by": "M. at the bench",
        "batch": "resin 7, stack 3",
    }
    assert browser.status("POST", f"{DAY}/findings", values) == 200
    day = read_day(folder)
    assert day.findings.surface == "good"
    assert day.findings.thickness_mm == (2.1, 2.0, 2.1, 2.2, 2.1)
    assert day.findings.weight_kg == pytest.approx(0.85)
    assert day.findings.resin_used_kg == pytest.approx(0.62)
    assert day.findings.note == "weave shows at the vent"
    assert (day.done_by, day.batch) == ("M. at the bench", "resin 7, stack 3")
    emptied = dict.fromkeys(values, "") | {"thickness_mm": [""] * 5}
    assert browser.status("POST", f"{DAY}/findings", emptied) == 200
    assert not read_day(folder).has_findings


def test_marks_are_filed_where_they_were_placed(shop):
    folder, browser = shop
    mark = {"kind": "dry area", "x_mm": 210.4, "y_mm": 45, "note": "under the pleat"}
    assert browser.status("POST", f"{DAY}/mark", mark) == 200
    (filed,) = read_day(folder).marks
    assert (filed.kind, filed.x_mm, filed.y_mm) == ("dry area", 210.4, 45.0)
    shown = browser.values("GET", DAY)
    assert shown["marks"][0]["note"] == "under the pleat"
    plan = browser.values("GET", f"{DAY}/plan")
    assert plan == {"length_mm": 300, "width_mm": 160, "flow": "edge", "lines": []}


def test_mark_is_taken_out_only_if_it_is_the_one_shown(shop):
    folder, browser = shop
    for x_mm in (10, 20):
        browser.ask("POST", f"{DAY}/mark", {"kind": "pit", "x_mm": x_mm, "y_mm": 5})
    second = {"number": 2, "kind": "pit", "x_mm": 20, "y_mm": 5}
    for wrong in ({"x_mm": 10}, {"number": 1}, {"number": 0}, {"number": -1}, {"kind": "bubble"}):
        assert browser.status("POST", f"{DAY}/unmark", second | wrong) == 409
    assert browser.status("POST", f"{DAY}/unmark", second) == 200
    assert [mark.x_mm for mark in read_day(folder).marks] == [10.0]


@pytest.mark.parametrize(
    ("path", "values", "told"),
    [
        ("mark", {"kind": "pit", "x_mm": 900, "y_mm": 10}, "lies off the panel"),
        ("mark", {"kind": "elephant", "x_mm": 9, "y_mm": 10}, "must be one of pit"),
        ("mark", {"kind": "pit", "x_mm": None, "y_mm": 10}, "x_mm: must be a number"),
        ("findings", {"weight_kg": "much"}, "weight_kg"),
        ("findings", {"weight_kg": "900"}, "weight_kg"),
        ("findings", {"thickness_mm": ["2", "", "2", "2", "2"]}, "all five places, or none"),
        ("findings", {"surface": "lovely"}, "surface"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_written(shop, path, values, told):
    folder, browser = shop
    status, _, body = browser.ask("POST", f"{DAY}/{path}", values)
    assert status == 409
    assert told in json.loads(body)["error"]
    assert not (folder / "day.toml").exists()


def test_record_before_the_result_says_what_to_do(shop):
    _, browser = shop
    status, _, body = browser.ask("POST", f"{DAY}/record", {})
    assert status == 409
    assert "wetline run" in json.loads(body)["error"]


def test_day_file_that_is_a_link_out_is_neither_read_nor_written(shop, tmp_path_factory):
    folder, browser = shop
    outside = tmp_path_factory.mktemp("outside") / "other.toml"
    outside.write_text('[day]\ndone_by = "somebody else"\n')
    try:
        (folder / "day.toml").symlink_to(outside)
    except OSError:
        pytest.skip("no right to make links here")
    assert browser.status("GET", DAY) == 409
    mark = {"kind": "pit", "x_mm": 1, "y_mm": 1}
    assert browser.status("POST", f"{DAY}/mark", mark) == 409
    assert outside.read_text() == '[day]\ndone_by = "somebody else"\n'


def test_thumbnails_are_small_and_only_of_what_is_filed(shop):
    folder, browser = shop
    assert browser.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="bag") == 200
    (folder / "stages" / "other.jpg").write_bytes(photo(1.0))
    name = read_day(folder).photos[0].file.split("/")[1]
    status, _, body = browser.ask("GET", f"/stages/strip/{name}")
    assert status == 200
    with Image.open(io.BytesIO(body)) as image:
        assert image.size[0] == 480
    for wrong in ("other.jpg", "..%2fday.toml", "nowhere.jpg"):
        assert browser.status("GET", f"/stages/strip/{wrong}") == 404


def test_phone_for_pictures_files_photos_and_sees_no_findings(tmp_path):
    folder = write_panel(tmp_path / "strip")
    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        desk, phone = Browser(server), Browser(server)
        desk.pair(server.pairing.invite(ALL).code)
        phone.pair(server.pairing.invite(ONLY_PICTURES, "strip").code)
        assert desk.status("POST", f"{DAY}/findings", {"surface": "poor"}) == 200
        assert phone.status("POST", f"{DAY}/photo", photo(0.0), X_Stage="bag") == 200
        assert set(phone.values("GET", DAY)) == {"id", "kind", "name", "stages", "rights"}
        assert phone.status("POST", f"{DAY}/findings", {"surface": "good"}) == 403
    assert read_day(folder).findings.surface == "poor"
