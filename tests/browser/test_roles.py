"""Roles in a real browser: what the desk chooses, a phone gets; what it forgets, is out."""

from contextlib import ExitStack

import pytest

from tests.browser.hands import device, expecting, here, opened, tap_pixel, until
from tests.made_up.live_run import photo, write_panel

NAME = "Hatch cover strip"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches

    root = tmp_path_factory.mktemp("shop")
    for name in ("strip", "lid"):
        write_panel(root / name)
    write_panel(root / "bare", scale=False)
    (root / "bare" / "frames").mkdir()
    (root / "bare" / "frames" / "1.jpg").write_bytes(photo(-10.0))
    with PageServer(Watches(Panels(root)), share=True, port=0) as server:
        yield server
        server.watches.close()


@pytest.fixture
def devices(chromium, shop):
    """A desk, let in by the page that this computer's browser is started with, and a phone."""
    with ExitStack() as stack:
        yield (
            stack.enter_context(device(chromium, shop.doors.url, **DESK)),
            stack.enter_context(device(chromium, shop.doors.url, **PHONE)),
        )


DESK = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def let_in(phone, shop):
    """Pair a phone that may do everything."""
    from analysis.page.access.rights import ALL

    phone.goto(f"{shop.doors.url}pair#{shop.pairing.invite(ALL).code}")
    expecting(phone.locator("#add")).to_be_visible()


def make_a_code(desk, shop):
    """At the desk, make a code for a phone of one panel, and return it."""
    desk.goto(shop.doors.launcher.as_uri())
    expecting(desk.locator(f"a[aria-label='Open {NAME}']").first).to_be_visible()
    desk.click("#share")
    desk.wait_for_url("**/share")
    desk.fill("#name", "Bench phone")
    desk.select_option("#panel", "strip")
    desk.click("text=Make a code")
    expecting(desk.locator("#qr")).to_be_visible()
    until(desk, "document.getElementById('qr').naturalWidth > 100")
    return desk.locator("#code").inner_text()


def test_desk_chooses_and_forgets(shop, devices):
    desk, phone = devices
    code = make_a_code(desk, shop)
    phone.goto(shop.doors.url)
    expecting(phone).to_have_url(f"{shop.doors.url}pair")
    phone.fill("#code", code)
    phone.click("#form button")
    phone.wait_for_url("**/camera/strip")
    expecting(phone.locator("#name")).to_have_text(NAME)
    expecting(phone.locator("#to-board")).to_be_hidden()
    for path in ("", "panel/strip", "panel/lid", "corners/strip", "share", "camera/lid", "new"):
        phone.goto(shop.doors.url + path)
        expecting(phone).to_have_url(f"{shop.doors.url}camera/strip")
    expecting(phone.locator("#name")).to_have_text(NAME)
    phone.click("#to-day")
    phone.wait_for_url("**/day/strip")
    expecting(phone.locator("#name")).to_have_text(NAME)
    expecting(phone.locator("#stages button").first).to_be_visible()
    expecting(phone.locator("#filing")).to_be_hidden()

    row = desk.locator(".devices li:has-text('Bench phone')")
    expecting(row).to_contain_text("take pictures and notes")
    desk.click("[aria-label='Change what Bench phone may do']")
    desk.click(".devices form >> text=File findings")
    desk.click(".devices form >> text=Save")
    expecting(row).to_contain_text("file findings")
    phone.reload()
    expecting(phone.locator("#filing")).to_be_visible()

    desk.click("[aria-label='Forget Bench phone']")
    expecting(row).to_have_count(0)
    expecting(desk.locator("#events")).to_contain_text("Forgotten: Bench phone")
    phone.reload()
    expecting(phone).to_have_url(f"{shop.doors.url}pair")


def test_corners_are_offered_where_there_is_no_scale(shop, devices):
    _, phone = devices
    let_in(phone, shop)
    expecting(phone.locator("text=Tap the corners")).to_have_count(1)
    phone.click("text=Tap the corners")
    phone.wait_for_url("**/corners/bare")
    phone.wait_for_selector("text=Tap corner 1")
    phone.goto(f"{shop.doors.url}panel/bare")
    phone.wait_for_selector("text=This panel has no scale yet")


def tap(phone, corners, first=1):
    """Tap corners one after the other, from the one that is asked for."""
    for k, (x, y) in enumerate(corners, first):
        tap_pixel(phone, x, y, "tap")
        more = f"Tap corner {k + 1}" if k < 4 else "All points set"
        phone.wait_for_selector(f"#prompt:has-text('{more}')")


def test_points_tapped_while_the_page_still_loads_are_kept(shop, devices, tmp_path):
    _, phone = devices
    picture = tmp_path / "face.jpg"
    picture.write_bytes(photo(900.0))
    waiting = []
    phone.route("**/api/panels/strip/day/plan", lambda route: waiting.append(route))
    let_in(phone, shop)
    opened(phone, f"{shop.doors.url}day/strip", NAME)
    phone.click("label[for='with-corners']")
    phone.set_input_files("#photo", picture)
    phone.wait_for_selector("#prompt:has-text('Tap corner 1')")
    corners = [(60, 50), (540, 50), (540, 306), (60, 306)]
    tap(phone, corners[:2])
    here(phone, lambda: waiting)
    waiting[0].continue_()
    expecting(phone.locator("#plan .panel")).to_be_attached()
    tap(phone, corners[2:], 3)
    phone.click("#without")
    phone.wait_for_selector("#photo-said:has-text('Filed:')")


def test_corners_are_tapped_on_a_stage_photo_that_no_reload_loses(shop, devices, tmp_path):
    from analysis.record.day.day_toml import read_day

    _, phone = devices
    picture = tmp_path / "face.jpg"
    picture.write_bytes(photo(900.0))
    let_in(phone, shop)
    opened(phone, f"{shop.doors.url}day/lid", NAME)
    phone.click("#stages >> text=demoulded face")
    phone.click("label[for='with-corners']")
    phone.set_input_files("#photo", picture)
    phone.wait_for_selector("#prompt:has-text('Tap corner 1')")
    phone.reload()
    phone.wait_for_selector("#prompt:has-text('Tap corner 1')")
    corners = [(60, 50), (540, 50), (540, 306), (60, 306)]
    tap(phone, corners[::-1])
    phone.click("#file-it")
    phone.wait_for_selector("text=The corners ran the wrong way round")
    tap(phone, corners)
    phone.click("#file-it")
    phone.wait_for_selector("#photos >> text=demoulded face")
    (filed,) = read_day(shop.watches.panels.find("lid")).photos
    for tapped, true in zip(filed.corners_px, corners, strict=True):
        assert tapped == pytest.approx(true, abs=2.5)
    expecting(phone.locator("#held")).to_be_hidden()
