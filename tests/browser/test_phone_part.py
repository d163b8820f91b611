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
from tests.browser.test_phone_run import COVERED, until
from tests.made_up.live_part import PartShop, empty_part, made_run, with_more
from tests.made_up.parts.cases import CASES
from tests.made_up.parts.made_part import made_part
from vision.settings.event_log import FEED_BACK, FEED_OPEN, RESIN_OPEN, VENT_SHUT, read_stamps

SHARE = 0.72
"""The front is past the later feed then: x^2 = k t, and 350 of 480 mm are wet at 0.53."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A part two thirds full, on the page of this computer."""
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches, folder_name

    made, filled, photos = made_run()
    folder = with_more(empty_part(made, tmp_path_factory.mktemp("shop") / "cover"))
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


@contextmanager
def phone_at(chromium, base):
    """Open a phone, which tells any request that would leave this computer."""
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.outside, page.faults = [], []
    inside = (base, "blob:", "data:")
    page.on("request", lambda r: r.url.startswith(inside) or page.outside.append(r.url))
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    yield page
    context.close()


@pytest.fixture
def phone(chromium, shop):
    with phone_at(chromium, shop[1].doors.url) as page:
        page.goto(f"{shop[1].doors.url}panel/cover")
        page.wait_for_selector("#feeds:visible")
        yield page


def test_the_numbers_are_those_of_the_board(shop, phone):
    numbers = shop[0].watch.board.part
    assert phone.text_content("#front") == f"{100 * numbers.wetted_share:.0f} %"
    assert phone.text_content("#front-name") == "Wet"
    assert phone.text_content("#speed-name") == "Not seen"
    until(phone, "/^([0-9]|due now|overdue)/.test(document.getElementById('left').textContent)")
    assert "of the part wet" in phone.text_content("#chart-text")
    assert "Dashed: where the plan has the front now" in phone.text_content("figcaption")
    until(phone, "document.getElementById('picture').naturalWidth > 300")
    until(phone, "document.getElementById('chart').naturalWidth > 100")
    for things in ("#air", "#vents", "#plan", "#drawdown"):
        assert phone.locator(things).is_visible(), things
    assert phone.locator("#to-day").is_visible()


def test_nothing_is_cut_off_or_covered_or_too_small_for_gloves(phone):
    assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert phone.locator(".number:visible").count() == 6
    assert phone.evaluate(COVERED) == []
    small = phone.evaluate(
        "[...document.querySelectorAll('main button')].filter((b) => b.offsetParent && "
        "b.getBoundingClientRect().height < 44).map((b) => b.textContent)"
    )
    assert small == []


def test_the_next_feed_is_opened_and_taken_back(shop, phone):
    part, _, folder = shop
    phone.wait_for_selector(".alarm:has-text('The front is past all of second line')")
    button = phone.locator("#feeds button.big:has-text('second line is open')")
    assert button.bounding_box()["height"] >= 80
    button.click()
    phone.wait_for_selector("text=noted: second line is open")
    phone.wait_for_selector("#feeds strong:has-text('second line is open')")
    part.watch.follow_once(0.0)
    phone.click("[aria-label='Take back: second line is open']")
    phone.wait_for_selector("text=noted: second line is not open, taken back")
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
    until(phone, "!document.getElementById('alarms').textContent.includes('All well')")
    phone.click("#vents button:has-text('middle is clamped')")
    phone.wait_for_selector("#sure-text:has-text('the last open vent')")
    phone.click("#sure-no")
    phone.click("[aria-label='Take back: far edge is clamped']")
    phone.wait_for_selector("#vents button:has-text('far edge is clamped')")
    part.watch.follow_once(0.0)
    # A strip under a hose stays, as one that was not seen and may be dry.
    until(phone, "!document.getElementById('air').textContent.includes('cut off already')")
    assert [s.text for s in read_stamps(folder) if s.kind == VENT_SHUT] == ["far edge"]


def test_the_end_shows_the_final_result(shop, phone):
    part = shop[0]
    phone.click("#end")
    phone.click("#sure-yes")
    until(phone, "document.getElementById('sure').open === false")
    end_wanted = part.watch.follow_once
    for _ in range(20):
        end_wanted(0.0)
        if part.watch.board.state == "ended":
            break
        phone.wait_for_timeout(200)
    phone.wait_for_selector("#final:visible", timeout=40_000)
    words = phone.text_content("#final-text")
    assert "Live board against the final result: wet share" in words
    phone.wait_for_selector("#final-files >> text=Planned and seen")
    assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
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


def tap(phone, x, y):
    """Press on a pixel of the photo and let go."""
    phone.locator("#image").scroll_into_view_if_needed()
    box = phone.locator("#image").bounding_box()
    wide = phone.evaluate("document.getElementById('image').naturalWidth")
    share = box["width"] / wide
    phone.mouse.move(box["x"] + (x + 0.5) * share, box["y"] + (y + 0.5) * share)
    phone.mouse.down()
    phone.mouse.up()


def test_a_parts_corners_are_tapped_as_its_plan_leads(chromium, to_tap):
    folder, server = to_tap
    asked = begin(folder).asked
    px = part_px(CASES["tapped"], np.array([point.mm for point in asked]))
    with phone_at(chromium, server.doors.url) as phone:
        phone.goto(server.doors.url)
        phone.click("[aria-label='Tap the corners of tapped']")
        phone.wait_for_selector("text=Tap corner 1 of 8: upper left")
        assert phone.text_content("#sketch .now + .number") == "1"
        order = [1, 0, 2, 3, None, 5, 6, 7]
        for k in order:
            if k is None:
                phone.click("#pass")
            else:
                tap(phone, *px[k])
        assert phone.locator("#sketch .done").count() == 7
        assert phone.locator("#sketch .crossed").count() == 1
        phone.click("#save")
        phone.wait_for_selector("#error:has-text('points 1 and 2 seem to be exchanged')")
        for _ in order:
            phone.click("#back")
        for at in px:
            tap(phone, *at)
        phone.click("#save")
        phone.wait_for_selector("#look:visible")
        until(phone, "document.getElementById('drawn').naturalWidth > 300")
        assert re.search(r"sure to \d\.\d mm", phone.text_content("#look-sure"))
        assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        assert not has_scale(folder)
        phone.click("#yes")
        phone.wait_for_selector("text=Pictures and scale are there.")
        phone.goto(f"{server.doors.url}camera/cover")
        phone.wait_for_selector("#how:has-text('Line the part up with its outline')")
        assert phone.text_content("#outline") == "middle line"  # its feed, no panel's feed and vent
        phone.goto(f"{server.doors.url}day/cover")
        phone.click("#stages >> text=end of fill")
        phone.check("#with-corners")
        phone.set_input_files("#photo", sorted((folder / "frames").iterdir())[1])
        phone.wait_for_selector("#prompt:has-text('Tap corner 1 of 8')")
        until(phone, "document.getElementById('image').naturalWidth > 300")
        for at in px[:4]:
            tap(phone, *at)
        phone.click("#pass")
        assert phone.locator("#sketch .crossed").count() == 1
        phone.click("#file-it")
        phone.wait_for_selector("#photo-said:has-text('Filed: end of fill, 0 waiting.')")
        (filed,) = read_day(folder).photos
        assert filed.points_mm == tuple(point.mm for point in asked[:4])
        assert (phone.outside, phone.faults) == ([], [])
    tapped = np.array(part_camera(read_part(folder)).scale.points_px)
    assert np.abs(tapped - px).max() < 1.5
