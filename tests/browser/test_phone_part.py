"""A part on a phone while it fills: what is wet, the next feed, a vent, and what is taken back."""

import re
import shutil
from contextlib import contextmanager

import numpy as np
import pytest

from analysis.infusion.seen.part_setup import part_camera
from analysis.infusion.seen.tap_outline import begin
from analysis.part.part_folder import has_scale
from analysis.part.plan.part_toml import read_part
from analysis.record.day.day_toml import read_day
from sample_frames._part_make import part_px
from tests.browser.hands import (
    COVERED,
    device,
    expecting,
    not_cut_off,
    remember_said,
    tap_pixel,
    until,
    was_said,
)
from tests.made_up.live_part import PartShop, empty_part, made_run, with_more
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.settings.event_log import FEED_BACK, FEED_OPEN, RESIN_OPEN, VENT_SHUT, read_stamps

SHARE = 0.72
"""The front is past the later feed then: x^2 = k t, and 350 of 480 mm are wet at 0.53."""


@contextmanager
def filling(base):
    """A part two thirds full, on the page of this computer."""
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches, folder_name

    made, filled, photos = made_run()
    folder = with_more(empty_part(made, base / "cover"))
    watches = Watches(Panels(folder))
    with PartShop(folder) as part, PageServer(watches, port=0) as server:
        watches.adopt(folder_name(folder), part.watch)
        opened = False
        for t, photo, _ in photos:
            if t > SHARE * filled.fill_s:
                break
            if t > 0 and not opened:
                part.t, opened = 0.0, True
                part.watch.stamp(RESIN_OPEN)
            part.take(t, photo)
        yield part, server, folder


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A run for all that leave it going, as they found it."""
    with filling(tmp_path_factory.mktemp("shop")) as run:
        yield run


@pytest.fixture
def run_to_end(tmp_path):
    """A run of its own for the one that ends it, so that the tests need no order."""
    with filling(tmp_path) as run:
        yield run


PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


@contextmanager
def phone_at(chromium, server):
    """A phone that shows the part, its pictures there."""
    base = server.doors.url
    with device(chromium, base, **PHONE) as page:
        page.goto(f"{base}panel/cover")
        expecting(page.locator("#feeds")).to_be_visible()
        for picture, least in (("picture", 300), ("chart", 100)):
            until(page, f"document.getElementById({picture!r}).naturalWidth > {least}")
        remember_said(page)
        yield page


@pytest.fixture
def phone(chromium, shop):
    with phone_at(chromium, shop[1]) as page:
        yield page


def test_the_numbers_are_those_of_the_board(shop, phone):
    numbers = shop[0].watch.board.part
    expecting(phone.locator("#front")).to_have_text(f"{100 * numbers.wetted_share:.0f} %")
    expecting(phone.locator("#front-name")).to_have_text("Wet")
    expecting(phone.locator("#speed-name")).to_have_text("Not seen")
    expecting(phone.locator("#left")).to_have_text(re.compile("^([0-9]|due now|overdue)"))
    expecting(phone.locator("#chart-text")).to_contain_text("of the part wet")
    words = "Dashed: where the plan has the front now"
    expecting(phone.locator("#picture-words")).to_contain_text(words)
    for things in ("#air", "#vents", "#plan", "#drawdown", "#to-day"):
        expecting(phone.locator(things)).to_be_visible()


def test_nothing_is_cut_off_or_covered_or_too_small_for_gloves(phone):
    not_cut_off(phone)
    expecting(phone.locator(".number:visible")).to_have_count(6)
    assert phone.evaluate(COVERED) == []
    heights = phone.evaluate(
        "[...document.querySelectorAll('main button')].filter((b) => b.offsetParent)"
        ".map((b) => [b.textContent, b.getBoundingClientRect().height])"
    )
    assert len(heights) >= 6
    assert [text for text, height in heights if height < 44] == []


def test_the_next_feed_is_opened_and_taken_back(shop, phone):
    part, _, folder = shop
    phone.wait_for_selector(".alarm:has-text('The front is past all of second line')")
    button = phone.locator("#feeds button.big:has-text('second line is open')")
    assert button.bounding_box()["height"] >= 80
    button.click()
    was_said(phone, "noted: second line is open")
    phone.wait_for_selector("#feeds strong:has-text('second line is open')")
    part.watch.follow_once(0.0)
    phone.click("[aria-label='Take back: second line is open']")
    was_said(phone, "noted: second line is not open, taken back")
    phone.wait_for_selector("#feeds button:has-text('second line is open')")
    part.watch.follow_once(0.0)
    done = [stamp.kind for stamp in read_stamps(folder) if stamp.text == "second line"]
    assert done == [FEED_OPEN, FEED_BACK]


def test_a_clamped_vent_shuts_air_in_and_the_last_one_is_asked_about(shop, phone):
    part, _, folder = shop
    phone.click("#vents button:has-text('far edge is clamped')")
    phone.wait_for_selector("#vents strong:has-text('far edge is clamped')")
    part.watch.follow_once(0.0)
    phone.wait_for_selector("#air li:has-text('cut off already')")
    expecting(phone.locator("#alarms")).not_to_contain_text("All well")
    phone.click("#vents button:has-text('middle is clamped')")
    phone.wait_for_selector("#sure-text:has-text('the last open vent')")
    phone.click("#sure-no")
    expecting(phone.locator("#sure")).to_be_hidden()
    phone.click("[aria-label='Take back: far edge is clamped']")
    phone.wait_for_selector("#vents button:has-text('far edge is clamped')")
    part.watch.follow_once(0.0)
    # A strip under a hose stays, as one that was not seen and may be dry.
    expecting(phone.locator("#air")).not_to_contain_text("cut off already")
    assert [s.text for s in read_stamps(folder) if s.kind == VENT_SHUT] == ["far edge"]


def test_the_end_shows_the_final_result(chromium, run_to_end):
    part, server, _ = run_to_end
    with phone_at(chromium, server) as phone:
        phone.click("#end")
        with phone.expect_response("**/api/panels/cover/end"):
            phone.click("#sure-yes")
        expecting(phone.locator("#sure")).to_be_hidden()
        part.watch.follow_once(0.0)
        assert part.watch.board.state == "ended"
        expecting(phone.locator("#final")).to_be_visible()
        words = "Live board against the final result: wet share"
        expecting(phone.locator("#final-text")).to_contain_text(words)
        expecting(phone.locator("#final-files >> text=Planned and seen")).to_be_visible()
        expecting(phone.locator("#shots img").first).to_be_visible()
        not_cut_off(phone)
        assert phone.outside == []
        assert phone.faults == []


# -- before the run: the corners of a part that has no scale yet


@pytest.fixture(scope="module")
def to_tap(tmp_path_factory):
    """A part with photos and no scale, on the page of this computer."""
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches

    folder = tmp_path_factory.mktemp("shop") / "cover"
    shutil.copytree(made_part("tapped"), folder, ignore=shutil.ignore_patterns("truth*", "results"))
    file = folder / "part.toml"
    file.write_text(file.read_text(encoding="utf-8").partition("[scale]")[0], encoding="utf-8")
    with PageServer(Watches(Panels(folder.parent)), port=0) as server:
        yield folder, server


def test_a_parts_corners_are_tapped_as_its_plan_leads(chromium, to_tap):
    folder, server = to_tap
    asked = begin(folder).asked
    px = part_px(CASES["tapped"], np.array([point.mm for point in asked]))
    with device(chromium, server.doors.url, **PHONE) as phone:
        phone.goto(server.doors.url)
        phone.click("[aria-label='Tap the corners of tapped']")
        phone.wait_for_selector("text=Tap corner 1 of 8: upper left")
        expecting(phone.locator("#sketch .now + .number")).to_have_text("1")
        tap_all_corners(phone, px)
        not_cut_off(phone)
        assert not has_scale(folder)
        phone.click("#yes")
        phone.wait_for_selector("text=Pictures and scale are there.")
        phone.goto(f"{server.doors.url}camera/cover")
        phone.wait_for_selector("#how:has-text('Line the part up with its outline')")
        # Its feed, no panel's feed and vent.
        expecting(phone.locator("#outline")).to_have_text("middle line")
        tap_corners_of_a_stage(phone, server, folder, px)
        (filed,) = read_day(folder).photos
        assert filed.points_mm == tuple(point.mm for point in asked[:4])
        assert (phone.outside, phone.faults) == ([], [])
    tapped = np.array(part_camera(read_part(folder)).scale.points_px)
    assert np.abs(tapped - px).max() < 1.5


def tap_all_corners(phone, px):
    """Tap the corners in a wrong order first, and then as they are asked for."""
    order = [1, 0, 2, 3, None, 5, 6, 7]
    for k in order:
        if k is None:
            phone.click("#pass")
        else:
            tap_pixel(phone, *px[k])
    expecting(phone.locator("#sketch .done")).to_have_count(7)
    expecting(phone.locator("#sketch .crossed")).to_have_count(1)
    phone.click("#save")
    phone.wait_for_selector("#error:has-text('points 1 and 2 seem to be exchanged')")
    for _ in order:
        phone.click("#back")
    for at in px:
        tap_pixel(phone, *at)
    phone.click("#save")
    expecting(phone.locator("#look")).to_be_visible()
    until(phone, "document.getElementById('drawn').naturalWidth > 300")
    expecting(phone.locator("#look-sure")).to_contain_text(re.compile(r"sure to \d\.\d mm"))


def tap_corners_of_a_stage(phone, server, folder, px):
    """File a photo of the end of fill with four of its corners and one that does not show."""
    phone.goto(f"{server.doors.url}day/cover")
    phone.click("#stages >> text=end of fill")
    phone.check("#with-corners")
    phone.set_input_files("#photo", sorted((folder / "frames").iterdir())[1])
    phone.wait_for_selector("#prompt:has-text('Tap corner 1 of 8')")
    for at in px[:4]:
        tap_pixel(phone, *at)
    phone.click("#pass")
    expecting(phone.locator("#sketch .crossed")).to_have_count(1)
    phone.click("#file-it")
    phone.wait_for_selector("#photo-said:has-text('Filed: end of fill, 0 waiting.')")
