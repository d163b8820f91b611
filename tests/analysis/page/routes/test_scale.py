"""A part's corners tapped on the page: asked in the plan's order, drawn back, then written."""

import base64
import json
import shutil

import cv2
import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.part.part_folder import has_scale
from analysis.part.plan.part_toml import read_part
from sample_frames._part_make import part_px
from tests.made_up.live_part import PartShop, empty_part, made_run, vent_in_the_way
from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.parts.fit_outline import find_part_scale

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels  # noqa: E402
from analysis.page.watches import Watches, folder_name  # noqa: E402

COVER = "/api/panels/cover"


def without_scale(folder):
    file = folder / "part.toml"
    head, _, _ = file.read_text(encoding="utf-8").partition("[scale]")
    file.write_text(head + "# the end\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    root = tmp_path_factory.mktemp("shop")
    made = made_part("tapped")
    shutil.copytree(made, root / "cover", ignore=shutil.ignore_patterns("truth*", "results"))
    write_panel(root / "strip")
    with PageServer(Watches(Panels(root)), port=0) as server:
        yield root / "cover", Browser(server)


@pytest.fixture
def part(served):
    shutil.copy(made_part("tapped") / "part.toml", served[0])
    return (without_scale(served[0]), *served[1:])


def true_px(asked, recipe=CASES["tapped"]):
    """Where the asked corners are in the photo; the made-up plans begin at 0, 0 with y down."""
    return np.round(part_px(recipe, np.array([point["mm"] for point in asked["points"]])), 1)


def refused(browser, **values):
    status, _, body = browser.ask("POST", f"{COVER}/corners", values)
    assert status == 409
    return json.loads(body)["error"]


def test_the_plan_leads_from_corner_to_corner(part):
    browser = part[1]
    asked = browser.values("GET", f"{COVER}/outline")
    assert asked["photo"] == "photo_0001.jpg"
    assert (asked["length_mm"], asked["width_mm"]) == (520, 320)
    assert len(asked["rings"][0]) == 8
    assert asked["feeds"] == [{"name": "middle line", "points": [[260, 20], [260, 300]]}]
    assert asked["points"][0]["words"].startswith("corner 1 of 8: upper left")
    assert asked["fewest"] == 4
    status, headers, data = browser.ask("GET", f"{COVER}/first?photo=photo_0003.jpg")
    assert (status, headers["x-frame-name"]) == (200, "photo_0003.jpg")
    assert data != browser.ask("GET", f"{COVER}/first")[2]
    assert browser.status("GET", "/api/panels/strip/outline") == 404  # a panel has four corners


def test_points_are_drawn_back_first_and_written_when_looked_at(part):
    folder, browser = part
    before = (folder / "part.toml").read_text(encoding="utf-8")
    asked = browser.values("GET", f"{COVER}/outline")
    taps = [*true_px(asked).tolist()[:4], None, *true_px(asked).tolist()[5:]]
    sent = {"points": taps, "photo": asked["photo"]}
    looked = browser.values("POST", f"{COVER}/corners", sent | {"write": False})
    assert (folder / "part.toml").read_text(encoding="utf-8") == before
    head, _, data = looked["drawn"].partition(",")
    assert head == "data:image/jpeg;base64"
    drawn = cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)
    photo = cv2.imread(str(folder / "frames" / asked["photo"]))
    assert drawn.shape == photo.shape
    assert np.abs(drawn.astype(float) - photo).max(axis=2).mean() > 2.0  # the plan is on it
    assert 0.0 < looked["error_mm"] < 3.0
    written = browser.values("POST", f"{COVER}/corners", sent | {"write": True})["written"]
    assert written[0] == 'method = "outline"'
    text = (folder / "part.toml").read_text(encoding="utf-8")
    assert text.startswith(before.rstrip("\n"))
    camera = part_camera(read_part(folder))
    plane = find_part_scale(photo, camera.setup(), None)
    places = np.array([point["mm"] for point in asked["points"]])
    assert np.abs(plane.to_px(places) - true_px(asked)).max() < 1.0


def test_points_in_another_order_of_another_part_or_too_few_are_refused(part):
    folder, browser = part
    before = (folder / "part.toml").read_bytes()
    asked = browser.values("GET", f"{COVER}/outline")
    good, photo = true_px(asked).tolist(), asked["photo"]
    swapped = [good[1], good[0], *good[2:]]
    for write in (False, True):
        told = refused(browser, points=swapped, photo=photo, write=write)
        assert "points 1 and 2 seem to be exchanged" in told
    assert "at least 4" in refused(browser, points=good[:3], photo=photo)
    bent = [[x + 90 * (k % 2), y] for k, (x, y) in enumerate(good)]
    assert "do not match: they stand" in refused(browser, points=bent, photo=photo)
    assert "not understood" in refused(browser, points=[*good, good[0]], photo=photo)
    assert "not understood" in refused(browser, points="all", photo=photo)
    assert "not among the part's photos" in refused(browser, points=good, photo="../strip.jpg")
    assert (folder / "part.toml").read_bytes() == before


def test_photos_that_lie_elsewhere_are_not_shown(part, tmp_path):
    folder, browser = part
    file = folder / "part.toml"
    text = file.read_text(encoding="utf-8")
    away = shutil.copytree(folder / "frames", tmp_path / "away").as_posix()
    file.write_text(text.replace('source = "frames"', f'source = "{away}"'), encoding="utf-8")
    for path in ("first", "outline"):
        status, _, body = browser.ask("GET", f"{COVER}/{path}")
        assert status == 409
        assert "leads out of the part's folder" in json.loads(body)["error"]


def test_a_watched_part_is_tapped_while_it_waits_and_then_followed(tmp_path):
    made, _, photos = made_run()
    folder = without_scale(empty_part(made, tmp_path / "cover"))
    assert not has_scale(folder)
    watches = Watches(Panels(folder))
    with PartShop(folder) as shop, PageServer(watches, port=0) as server:
        watches.adopt(folder_name(folder), shop.watch)
        browser = Browser(server)
        for t, photo, _ in photos[:3]:
            shop.take(t, photo)
        assert "pictures needed" in shop.watch.board.todo
        status, _, body = browser.ask("GET", f"{COVER}/first")
        assert (status, "are needed" in json.loads(body)["error"]) == (409, True)
        shop.take(*photos[3][:2])
        assert shop.watch.board.todo == "Tap the part's corners on the picture."
        asked = browser.values("GET", f"{COVER}/outline")
        taps = true_px(asked, vent_in_the_way()).tolist()
        sent = {"points": taps, "photo": asked["photo"], "write": True}
        assert browser.status("POST", f"{COVER}/corners", sent) == 200
        shop.take(*photos[4][:2])
        assert shop.watch.board.todo == ""
        assert not shop.watch.eyes.lost
