"""Roles in a real browser: what the desk chooses, a phone gets; what it forgets, is out."""

import pytest

from tests.made_up.live_run import photo, write_panel


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
    opened = []

    def device(**more):
        context = chromium.new_context(ignore_https_errors=True, **more)
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        return page

    yield (
        device(viewport={"width": 1280, "height": 800}),
        device(viewport={"width": 390, "height": 844}, has_touch=True),
    )
    for context in opened:
        context.close()


def test_desk_chooses_and_forgets(shop, devices):
    desk, phone = devices
    desk.goto(shop.doors.launcher.as_uri())
    desk.wait_for_selector("a[aria-label='Open Hatch cover strip'] >> nth=0")
    desk.click("text=Pair a phone")
    desk.fill("#name", "Bench phone")
    desk.select_option("#panel", "strip")
    desk.click("text=Make a code")
    desk.wait_for_selector("#qr[src^='blob:']")
    assert desk.evaluate("document.getElementById('qr').naturalWidth") > 100

    phone.goto(shop.doors.url)
    phone.fill("#code", desk.text_content("#code"))
    phone.click("text=Pair >> nth=-1")
    phone.wait_for_url("**/camera/strip")
    assert phone.locator("#to-board").is_hidden()
    for path in ("", "panel/strip", "panel/lid", "corners/strip", "share", "camera/lid", "new"):
        phone.goto(shop.doors.url + path)
        assert phone.url.endswith("/camera/strip"), path
    phone.click("#to-day")
    phone.wait_for_selector("text=Photo for the record")
    assert phone.locator("#filing").is_hidden()

    row = desk.wait_for_selector(".devices li:has-text('Bench phone')")
    assert "take pictures and notes" in row.text_content()
    desk.click("[aria-label='Change what Bench phone may do']")
    desk.click(".devices form >> text=File findings")
    desk.click(".devices form >> text=Save")
    desk.wait_for_selector(".devices li p:has-text('file findings')")
    phone.reload()
    phone.wait_for_selector("#filing:visible")

    desk.click("[aria-label='Forget Bench phone']")
    desk.wait_for_selector(".devices li:has-text('Bench phone')", state="detached")
    desk.wait_for_selector("#events >> text=Forgotten: Bench phone")
    phone.reload()
    phone.wait_for_url("**/pair")


def test_corners_are_offered_where_there_is_no_scale(shop, devices):
    from analysis.page.access.rights import ALL

    _, phone = devices
    phone.goto(f"{shop.doors.url}pair#{shop.pairing.invite(ALL).code}")
    phone.wait_for_selector("text=New panel")
    assert phone.locator("text=Tap the corners").count() == 1
    phone.click("text=Tap the corners")
    phone.wait_for_url("**/corners/bare")
    phone.wait_for_selector("text=Tap corner 1")
    phone.goto(f"{shop.doors.url}panel/bare")
    phone.wait_for_selector("text=This panel has no scale yet")


def test_corners_are_tapped_on_a_stage_photo_that_no_reload_loses(shop, devices, tmp_path):
    from analysis.page.access.rights import ALL
    from analysis.record.day.day_toml import read_day

    _, phone = devices
    picture = tmp_path / "face.jpg"
    picture.write_bytes(photo(900.0))
    phone.goto(f"{shop.doors.url}pair#{shop.pairing.invite(ALL).code}")
    phone.wait_for_selector("text=New panel")
    phone.goto(f"{shop.doors.url}day/lid")
    phone.click("#stages >> text=demoulded face")
    phone.click("label[for='with-corners']")
    phone.set_input_files("#photo", picture)
    phone.wait_for_selector("#prompt:has-text('Tap corner 1')")
    phone.reload()
    phone.wait_for_selector("#prompt:has-text('Tap corner 1')")

    def tap(corners):
        for k, (x, y) in enumerate(corners):
            phone.locator("#image").scroll_into_view_if_needed()
            box = phone.locator("#image").bounding_box()
            at = (
                box["x"] + (x + 0.5) * box["width"] / 600,
                box["y"] + (y + 0.5) * box["height"] / 356,
            )
            phone.touchscreen.tap(*at)
            more = f"Tap corner {k + 2}" if k < 3 else "All points set"
            phone.wait_for_selector(f"#prompt:has-text('{more}')")

    corners = [(60, 50), (540, 50), (540, 306), (60, 306)]
    tap(corners[::-1])
    phone.click("#file-it")
    phone.wait_for_selector("text=The corners ran the wrong way round")
    tap(corners)
    phone.click("#file-it")
    phone.wait_for_selector("#photos >> text=demoulded face")
    (filed,) = read_day(shop.watches.panels.find("lid")).photos
    for tapped, true in zip(filed.corners_px, corners, strict=True):
        assert tapped == pytest.approx(true, abs=2.5)
    assert phone.locator("#held").is_hidden()
