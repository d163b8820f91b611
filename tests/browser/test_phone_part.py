"""A part on a phone while it fills: what is wet, the next feed, a vent, and what is taken back."""

import pytest

from tests.browser.test_phone_run import COVERED, until
from tests.made_up.live_part import PartShop, empty_part, made_run, with_more
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


@pytest.fixture
def phone(chromium, shop):
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.outside, page.faults = [], []
    base = shop[1].doors.url
    inside = (base, "blob:", "data:")
    page.on("request", lambda r: r.url.startswith(inside) or page.outside.append(r.url))
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.goto(f"{base}panel/cover")
    page.wait_for_selector("#feeds:visible")
    yield page
    context.close()


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
    assert phone.locator("#to-day").is_hidden()


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
