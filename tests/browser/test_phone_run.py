"""From an empty folder to a filed record, in a real browser, most of it by a phone.

Pair, make the panel, tap its corners, run, alarm, stamp, result, photos, findings, record.
"""

import re
import time

import numpy as np
import pytest

from analysis.record.day.day_toml import read_day
from tests.browser.conftest import DRY_S, SAMPLE, SIZE
from tests.made_up.live_run import photo, write_panel
from vision.frames.source import open_frames
from vision.settings.event_log import read_stamps
from vision.settings.panel_settings import read_setup

COVERED = """() => {
  const covered = [];
  for (let y = 0; y < document.documentElement.scrollHeight; y += 20) {
    scrollTo(0, y);
    const over = document.getElementById("hands").getBoundingClientRect();
    for (const number of document.querySelectorAll(".number")) {
      const box = number.getBoundingClientRect();
      const apart = box.bottom < over.top + 1 || box.top > over.bottom - 1;
      if (!apart) covered.push([y, number.textContent]);
    }
  }
  return covered;
}"""
ASKED = {
    "length": "420",
    "width": "240",
    "porosity": "0.49",
    "viscosity": "210",
    "gel-time": "100",
    "temperature": "22",
    "vacuum": "940",
    "flow-length": "420",
}
PANEL = "Roof_cover_strip"
PAGES = ("panel", "camera", "corners", "day")


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches

    root = tmp_path_factory.mktemp("shop")
    watches = Watches(Panels(root))
    with PageServer(watches, share=True, port=0) as server:
        yield root, server
        watches.close()


@pytest.fixture
def open_page(chromium, shop):
    """Opens devices of their own, which tell any request that would leave this computer."""
    base = shop[1].doors.url.rstrip("/")
    contexts = []

    def opened(**more):
        context = chromium.new_context(ignore_https_errors=True, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.outside, page.faults = [], []
        inside = (base, "blob:", "data:")
        page.on("request", lambda r: r.url.startswith(inside) or page.outside.append(r.url))
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        return context, page, base

    yield opened
    for context in contexts:
        context.close()


def let_in(page, server):
    """Pair a device that may do everything, with a code of its own."""
    from analysis.page.access.rights import ALL

    page.goto(f"{server.doors.url}pair#{server.pairing.invite(ALL).code}")
    page.wait_for_selector("text=New panel")


def until(page, expression, wait_s=60.0):
    """Wait until a script expression holds; asked from here, as the page may evaluate no text.

    A page that is on its way to another, or has not got what is asked about, is asked again.
    """
    from playwright.sync_api import Error

    end, wrong = time.monotonic() + wait_s, ""
    while True:
        try:
            found = page.evaluate(expression)
            if found:
                return
            wrong = f"it was {found!r}"
        except Error as error:
            wrong = error.message
        if time.monotonic() > end:
            pytest.fail(f"{expression} within {wait_s} s: {wrong}; {page.url}: {words_of(page)}")
        page.wait_for_timeout(100)


def words_of(page):
    """What the page says, as far as it can be asked."""
    from playwright.sync_api import Error

    try:
        return page.inner_text("body", timeout=1000)
    except Error as error:
        return error.message


def make_panel(phone):
    """Make the panel on the phone, in the folder that is still empty."""
    phone.click("text=New panel")
    phone.fill("#panel-name", "Roof cover strip")
    for option, text in ASKED.items():
        phone.fill(f"#ask-{option}", text)
    phone.click("text=Make the panel")
    phone.wait_for_selector("text=Watch this panel")


def file_the_day(phone, root):
    """File a photo, findings and a mark on the phone, and write the record."""
    phone.goto(phone.url.split("/camera")[0] + f"/day/{PANEL}")
    phone.click("#stages >> text=demoulded face")
    phone.fill("#photo-note", "weave shows near the vent")
    phone.set_input_files("#photo", SAMPLE / "frames" / "photo_0241.jpg")
    phone.wait_for_selector("#photos >> text=weave shows near the vent")
    phone.set_input_files("#photo", sorted((SAMPLE / "frames").iterdir())[0])
    phone.wait_for_selector("#photos li >> nth=1")
    phone.click("#photos li:not(:has-text('weave')) >> text=Take out")
    phone.click("#sure-yes")
    phone.wait_for_selector("#sure-text:has-text('kept in the folder taken_out')")
    phone.click("#sure-yes")
    phone.wait_for_selector("#photo-said:has-text('It is kept as taken_out/demoulded_face')")
    assert phone.locator("#photos li").count() == 1
    phone.click("fieldset:has(legend:text-is('Face')) >> button:text-is('good')")
    phone.click("fieldset:has(legend:text-is('Pits')) >> button:text-is('few')")
    for k, text in enumerate(("2.1", "2,0", "2.1", "2.2", "2.1")):
        phone.fill(f"#thickness-{k}", text)
    phone.fill("#weight_kg", "850 g")
    phone.click("text=Save findings")
    phone.wait_for_selector("text=Findings saved.")
    phone.locator("#plan").scroll_into_view_if_needed()
    assert phone.locator("#plan .front").count() >= 3
    box = phone.locator("#plan .panel").bounding_box()
    phone.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 4)
    phone.wait_for_selector("#where:has-text('mm from the feed')")
    phone.click("#kinds >> text=pit")
    phone.fill("#mark-note", "size of a pea")
    phone.click("#save-mark")
    phone.wait_for_selector("#marks >> text=pit at")
    phone.locator("#plan").scroll_into_view_if_needed()
    box = phone.locator("#plan .panel").bounding_box()
    phone.touchscreen.tap(box["x"] + box["width"] / 3, box["y"] + box["height"] / 2)
    phone.click("#save-mark")
    phone.wait_for_selector("#marks li >> nth=1")
    phone.click("[aria-label='Take out mark 2']")
    phone.wait_for_selector("text=Mark 2 is taken out.")
    phone.click("text=Write the record")
    phone.wait_for_selector("text=The record is written.")
    assert "wetted at" in phone.text_content("#marks")
    day = read_day(root / PANEL)
    assert [(photo.stage, photo.note) for photo in day.photos] == [
        ("demoulded face", "weave shows near the vent")
    ]
    assert (day.findings.surface, day.findings.pits) == ("good", "few")
    assert day.findings.thickness_mm == (2.1, 2.0, 2.1, 2.2, 2.1)
    assert day.findings.weight_kg == pytest.approx(0.85)
    (mark,) = day.marks
    assert (mark.kind, mark.note) == ("pit", "size of a pea")
    assert mark.x_mm == pytest.approx(210, abs=3)
    assert mark.y_mm == pytest.approx(60, abs=3)
    phone.click("text=Open the report")
    phone.wait_for_selector("text=size of a pea")
    report = phone.text_content("body").lower()
    for words in ("weave shows near the vent", "demoulded face", "pump checked"):
        assert words in report
    assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def panel_corners_px():
    """Where the sample's printed markers say that the panel's corners are, in the film."""
    from vision.rectify.rectifier import Rectifier

    setup = read_setup(SAMPLE)
    with open_frames(setup) as frames:
        plane = Rectifier(setup, frames).plane
        full = frames.size[0]
    corners = plane.to_px(np.array([[0, 0], [420, 0], [420, 240], [0, 240]], float))
    return (corners + 0.5) * SIZE[0] / full - 0.5


def test_phone_run(shop, open_page):
    root, server = shop
    # -- pair: a wrong code by hand, then the picture's address
    phone_context, phone, base = open_page(viewport={"width": 390, "height": 844}, has_touch=True)
    phone.goto(base + "/")
    assert phone.url.endswith("/pair")
    phone.fill("#code", "WRONG")
    phone.click("text=Pair >> nth=-1")
    phone.wait_for_selector("text=That is no code that is good now.")
    let_in(phone, server)
    make_panel(phone)
    _, laptop, _ = open_page(viewport={"width": 1280, "height": 800})
    laptop.goto(base + "/pair")
    laptop.fill("#code", server.new_codes()[0].code)
    laptop.keyboard.press("Enter")
    laptop.click("a[aria-label='Open Roof cover strip']")

    # -- the phone becomes the camera
    phone.click("#use-phone")
    until(phone, "document.getElementById('video').videoWidth > 0")
    begun = time.monotonic()
    assert phone.locator("#outline .edge").count() == 1
    phone.select_option("#interval", "1")
    phone.click("#go")
    phone.wait_for_selector("text=all saved on the computer")

    # -- tap the corners on the laptop, with the magnifier
    laptop.click("#to-corners")
    laptop.wait_for_selector("text=Tap corner 1")
    box = laptop.locator("#image").bounding_box()
    for k, (x, y) in enumerate(panel_corners_px()):
        at = (
            box["x"] + (x + 0.5) / SIZE[0] * box["width"],
            box["y"] + (y + 0.5) / SIZE[1] * box["height"],
        )
        laptop.mouse.move(at[0] + 5, at[1] + 5)
        laptop.mouse.down()
        laptop.mouse.move(*at)
        assert laptop.locator("#loupe").is_visible()
        laptop.mouse.up()
        if k < 3:
            laptop.wait_for_selector(f"text=Tap corner {k + 2}")
    laptop.click("#save")
    laptop.wait_for_selector("#board:visible")
    tapped = np.array(read_setup(root / PANEL).scale.corners_px)
    assert np.abs(tapped - panel_corners_px()).max() < 1.0

    # -- resin open, on the phone's own beat
    time.sleep(max(0.0, begun + DRY_S - time.monotonic()))
    laptop.click("#open")
    laptop.wait_for_selector("text=✓ Resin open")

    # -- the front comes, with forecast; the network goes away for a while
    until(laptop, "parseFloat(document.getElementById('front').textContent) > 100")
    phone_context.set_offline(True)
    phone.wait_for_selector("text=kept on this phone")
    until(phone, "/[2-9] waiting/.test(document.getElementById('stat').textContent)")
    phone_context.set_offline(False)
    phone.wait_for_selector("text=all saved on the computer")
    until(laptop, "/^[0-9]/.test(document.getElementById('left').textContent)")
    assert "95 %" in laptop.text_content("#left-more")

    # -- a note in two taps
    laptop.click("#note")
    laptop.click("text=Pump checked")
    laptop.wait_for_selector("text=Noted: Pump checked")

    # -- the front reaches the end
    until(laptop, "parseFloat(document.getElementById('front').textContent) > 405")

    # -- at phone size no button ever stands over a number, however far the board is scrolled
    _, small, _ = open_page(viewport={"width": 390, "height": 844}, has_touch=True)
    let_in(small, server)
    small.goto(f"{base}/panel/{PANEL}")
    small.wait_for_selector("#chart-text:has-text('Front at')")
    assert small.locator(".number:visible").count() == 6
    assert small.evaluate(COVERED) == []

    # -- the camera is paused: the alarm shows in words, beside its colour
    phone.click("text=Pause")
    alarm = laptop.wait_for_selector(".alarm.act:has-text('No picture for')")
    assert "ACT NOW" in alarm.text_content()
    assert "Look at the camera" in alarm.text_content()
    # The end falls due meanwhile, which is an alarm of its own.
    laptop.click(".alarm.act:has-text('No picture for') >> text=Sound off")
    laptop.wait_for_selector(".alarm.act:has-text('No picture for') button", state="detached")
    phone.click("#go")

    # -- clamp, end, report
    laptop.click("#clamp")
    laptop.wait_for_selector("#final:visible", timeout=40_000)
    words = laptop.text_content("#final-text")
    assert "Live front against the final result" in words
    laptop.click("#final-files >> text=Report")
    laptop.wait_for_selector("text=Roof cover strip")
    assert laptop.url.endswith(f"/results/{PANEL}/report.html")
    assert laptop.locator("img").count() >= 2

    file_the_day(phone, root)
    stamps = [stamp.text or stamp.kind for stamp in read_stamps(root / PANEL)]
    for wanted in ("resin open", "Pump checked", "clamp"):
        assert wanted in stamps
    apart = re.search(r"final result: ([0-9.]+) mm", words)
    assert apart is not None
    assert float(apart.group(1)) < 2.0
    for page in (phone, laptop):
        assert page.outside == []
        assert page.faults == []


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_is_cut_off(shop, open_page, width):
    """No page is wider than its window, and every button has a name for a screen reader."""
    _, page, base = open_page(viewport={"width": width, "height": 800})
    let_in(page, shop[1])
    for path in ("/", "/new", "/share", *(f"/{room}/{PANEL}" for room in PAGES)):
        page.goto(base + path)
        page.wait_for_timeout(250)
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, path
        nameless = page.evaluate(
            "[...document.querySelectorAll('button, a, input, select')].filter((e) => "
            "!(e.textContent.trim() || e.getAttribute('aria-label') || (e.labels || []).length))"
            ".map((e) => e.outerHTML)"
        )
        assert nameless == [], path


def test_corners_by_keyboard(shop, open_page):
    """The points can be set without a pointer: arrow keys move the cross, Enter sets it."""
    root, server = shop
    folder = write_panel(root / "by_keyboard", scale=False)
    (folder / "frames").mkdir()
    (folder / "frames" / "1.jpg").write_bytes(photo(-10.0))
    _, page, base = open_page()
    let_in(page, server)
    page.goto(base + "/corners/by_keyboard")
    page.wait_for_selector("text=Tap corner 1")
    page.focus("#tap")
    page.keyboard.press("Shift+ArrowLeft")
    page.wait_for_selector("#loupe:visible")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Tap corner 2")
    page.keyboard.press("Backspace")
    page.wait_for_selector("text=Tap corner 1")
