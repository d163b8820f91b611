"""From an empty folder to a filed record, in a real browser, most of it by a phone.

Pair, make the panel, tap its corners, run, alarm, stamp, result, photos, findings, record. The
film waits for the pictures that are taken of it: a slow computer misses none of the run.
"""

import re
from contextlib import ExitStack

import numpy as np
import pytest

from tests.browser.conftest import SAMPLE, SIZE
from tests.browser.filing import file_the_day
from tests.browser.hands import (
    COVERED,
    NAMELESS,
    device,
    expecting,
    let_in,
    not_cut_off,
    number_in,
    opened,
    remember_said,
    until,
    was_said,
)
from tests.made_up.live_run import photo, write_panel
from vision.frames.source import open_frames
from vision.settings.event_log import read_stamps
from vision.settings.panel_settings import read_setup

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
PANEL, NAME = "Roof_cover_strip", "Roof cover strip"
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
LAPTOP = {"viewport": {"width": 1280, "height": 800}}
DRY_PICTURES = 6
PHOTOS_A_PICTURE = 2
"""How far the film goes on for each picture that is taken of it."""


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
    """Opens devices of their own."""
    base = shop[1].doors.url.rstrip("/")
    with ExitStack() as stack:
        yield lambda **more: stack.enter_context(device(chromium, base, **more))


class Shoot:
    """The film and the pictures of it: each is taken once the one before is on the board.

    A picture is taken at once when the phone is told to go on, and then it is paused: however slow
    the computer, there is one for each step of the film.
    """

    def __init__(self, film, phone, laptop):
        self.film, self.phone, self.laptop, self.at = film, phone, laptop, 0
        film.show(0)

    def on(self):
        """Go on a little, and take a picture of it; how many are taken by then."""
        taken = self.move()
        self.phone.click("#go")
        self.taken(taken + 1)
        return self.pause()

    def move(self):
        """Go on a little; how many pictures are taken by then."""
        self.at = min(self.at + PHOTOS_A_PICTURE, self.film.last)
        self.film.show(self.at)
        self.phone.evaluate(NEXT_FRAMES)
        return number_in(self.phone, "#stat")

    def taken(self, number):
        """Wait until the phone has taken so many pictures."""
        until(self.phone, f"parseInt(document.getElementById('stat').textContent) >= {number}")

    def pause(self):
        self.phone.click("#go:has-text('Pause')")
        return number_in(self.phone, "#stat")

    def saved(self, number):
        """Wait until so many pictures are on the laptop's board."""
        until(self.laptop, f"parseInt(document.getElementById('frames').textContent) >= {number}")

    def on_until(self, expression):
        """Go on until what the laptop shows is so; at the film's end that is waited for."""
        while self.at < self.film.last and not self.laptop.evaluate(expression):
            self.saved(self.on())
        until(self.laptop, expression)


NEXT_FRAMES = """() => new Promise((done) => {
  const video = document.getElementById("video");
  const after = (count) => video.requestVideoFrameCallback(() => count ? after(count - 1) : done());
  after(4);
})"""
"""Waits until the camera shows what the film shows now."""


def make_panel(phone):
    """Make the panel on the phone, in the folder that is still empty."""
    phone.click("#add a")
    phone.wait_for_url("**/new")
    phone.fill("#panel-name", NAME)
    for option, text in ASKED.items():
        phone.fill(f"#ask-{option}", text)
    phone.click("text=Make the panel")
    phone.wait_for_url(f"**/panel/{PANEL}")
    phone.wait_for_selector("text=Watch this panel")


def panel_corners_px():
    """Where the sample's printed markers say that the panel's corners are, in the film."""
    from vision.rectify.rectifier import Rectifier

    setup = read_setup(SAMPLE)
    with open_frames(setup) as frames:
        plane = Rectifier(setup, frames).plane
        full = frames.size[0]
    corners = plane.to_px(np.array([[0, 0], [420, 0], [420, 240], [0, 240]], float))
    return (corners + 0.5) * SIZE[0] / full - 0.5


def begin_on_the_phone(phone, server, base):
    """Pair, by a wrong code by hand first, then by the picture's address; make the panel."""
    phone.goto(base + "/")
    expecting(phone).to_have_url(f"{base}/pair")
    phone.fill("#code", "WRONG")
    phone.click("#form button")
    phone.wait_for_selector("text=That is no code that is good now.")
    let_in(phone, server)
    make_panel(phone)


def begin_on_the_laptop(laptop, server, base):
    """Pair with a code by hand, and open the panel."""
    laptop.goto(base + "/pair")
    laptop.fill("#code", server.new_codes()[0].code)
    laptop.keyboard.press("Enter")
    laptop.click(f"a[aria-label='Open {NAME}']")
    laptop.wait_for_url(f"**/panel/{PANEL}")


def tap_the_corners(laptop, root):
    """Tap the corners on the laptop, with the magnifier."""
    laptop.click("#to-corners")
    laptop.wait_for_selector("text=Tap corner 1")
    for k, (x, y) in enumerate(panel_corners_px()):
        laptop.locator("#image").scroll_into_view_if_needed()
        box = laptop.locator("#image").bounding_box()
        at = (
            box["x"] + (x + 0.5) / SIZE[0] * box["width"],
            box["y"] + (y + 0.5) / SIZE[1] * box["height"],
        )
        laptop.mouse.move(at[0] + 5, at[1] + 5)
        laptop.mouse.down()
        laptop.mouse.move(*at)
        expecting(laptop.locator("#loupe")).to_be_visible()
        laptop.mouse.up()
        laptop.wait_for_selector(f"text=Tap corner {k + 2}" if k < 3 else "text=All points set")
    laptop.click("#save")
    laptop.wait_for_url(f"**/panel/{PANEL}")
    expecting(laptop.locator("#board")).to_be_visible()
    tapped = np.array(read_setup(root / PANEL).scale.corners_px)
    assert np.abs(tapped - panel_corners_px()).max() < 1.0


def lose_the_network(phone, shoot):
    """The network goes away for a while: pictures wait on the phone, and none is lost."""
    phone.select_option("#interval", "2")
    shoot.taken(shoot.move())
    phone.click("#go")
    expecting(phone.locator("#go")).to_have_text("Pause")
    phone.context.set_offline(True)
    for _ in range(3):
        shoot.taken(shoot.move() + 1)
    taken = shoot.pause()
    phone.wait_for_selector("text=kept on this phone")
    until(phone, "/([3-9]|[0-9]{2}) waiting/.test(document.getElementById('stat').textContent)")
    phone.context.set_offline(False)
    shoot.saved(taken)
    expecting(phone.locator("#stat")).to_contain_text("all saved on the computer")
    phone.select_option("#interval", "5")


def pause_the_camera(phone, laptop):
    """The camera stays paused: the alarm shows in words, beside its colour."""
    expecting(phone.locator("#stat")).to_contain_text("all saved on the computer")
    alarm = laptop.locator(".alarm.act:has-text('No picture for')")
    expecting(alarm).to_contain_text("ACT NOW")
    expecting(alarm).to_contain_text("Look at the camera")
    # The end falls due meanwhile, which is an alarm of its own.
    alarm.locator("text=Sound off").click()
    expecting(alarm.locator("button")).to_have_count(0)
    expecting(alarm).to_be_visible()


def test_phone_run(shop, open_page, film):
    root, server = shop
    base = server.doors.url.rstrip("/")
    phone, laptop = open_page(**PHONE), open_page(**LAPTOP)
    begin_on_the_phone(phone, server, base)
    begin_on_the_laptop(laptop, server, base)

    # -- the phone becomes the camera
    shoot = Shoot(film, phone, laptop)
    phone.click("#use-phone")
    until(phone, "document.getElementById('video').videoWidth > 0")
    expecting(phone.locator("#name")).to_have_text(NAME)
    expecting(phone.locator("#outline .edge")).to_have_count(1)
    phone.select_option("#interval", "1")
    phone.click("#go")
    tap_the_corners(laptop, root)
    shoot.saved(DRY_PICTURES)
    shoot.saved(shoot.pause())
    phone.select_option("#interval", "5")
    laptop.click("#open")
    laptop.wait_for_selector("text=✓ Resin open")

    # -- the front comes, with forecast; the network goes away for a while
    shoot.on_until("parseFloat(document.getElementById('front').textContent) > 100")
    shoot.on_until(
        "/^[0-9]/.test(document.getElementById('left').textContent)"
        " && document.getElementById('left-more').textContent.includes('95 %')"
    )
    lose_the_network(phone, shoot)

    # -- a note in two taps
    remember_said(laptop)
    laptop.click("#note")
    laptop.click("text=Pump checked")
    was_said(laptop, "Noted: Pump checked")

    # -- the front reaches the end
    shoot.on_until("parseFloat(document.getElementById('front').textContent) > 405")

    # -- at phone size no button ever stands over a number, however far the board is scrolled
    small = open_page(**PHONE)
    let_in(small, server)
    opened(small, f"{base}/panel/{PANEL}", "Front at", "#chart-text")
    expecting(small.locator(".number:visible")).to_have_count(6)
    not_cut_off(small)
    assert small.evaluate(COVERED) == []
    pause_the_camera(phone, laptop)

    # -- clamp, end, report
    phone.select_option("#interval", "1")
    phone.click("#go")
    laptop.click("#clamp")
    expecting(laptop.locator("#final")).to_be_visible()
    words = laptop.locator("#final-text").inner_text()
    apart = re.search(r"Live front against the final result.*?([0-9.]+) mm", words, re.S)
    assert apart is not None, words
    assert float(apart.group(1)) < 2.0
    laptop.click("#final-files >> text=Report")
    laptop.wait_for_url(f"**/results/{PANEL}/report.html")
    expecting(laptop.locator("body")).to_contain_text(NAME)
    expecting(laptop.locator("img").nth(1)).to_be_attached()

    file_the_day(phone, base, root / PANEL, NAME)
    stamps = [stamp.text or stamp.kind for stamp in read_stamps(root / PANEL)]
    for wanted in ("resin open", "Pump checked", "clamp"):
        assert wanted in stamps
    for page in (phone, laptop, small):
        assert page.outside == []
        assert page.faults == []
    for window in (PHONE, LAPTOP):
        look_at_each_page(open_page(**window), server, PANEL, NAME, "#final:visible")


def look_at_each_page(page, server, panel, name, board):
    """No page is wider than its window, and every button has a name for a screen reader."""
    let_in(page, server)
    base = server.doors.url.rstrip("/")
    for path, place, text in (
        ("/", "#list", name),
        ("/new", "#asks", "Viscosity"),
        ("/share", "#rights", "File findings"),
        (f"/panel/{panel}", "#name", name),
        (f"/camera/{panel}", "#name", name),
        (f"/corners/{panel}", "#prompt", "Tap corner 1"),
        (f"/day/{panel}", "#stages", "demoulded face"),
    ):
        opened(page, base + path, text, place)
        if path.startswith("/panel"):
            page.wait_for_selector(board)
        not_cut_off(page)
        assert page.evaluate(NAMELESS) == [], path


def with_a_picture(folder):
    """Write a panel that has one picture and no scale."""
    write_panel(folder, scale=False)
    (folder / "frames").mkdir()
    (folder / "frames" / "1.jpg").write_bytes(photo(-10.0))


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_is_cut_off(shop, open_page, width):
    root, server = shop
    with_a_picture(root / f"at_{width}")
    page = open_page(viewport={"width": width, "height": 800})
    look_at_each_page(page, server, f"at_{width}", "Hatch cover strip", "#next:visible")


def test_corners_by_keyboard(shop, open_page):
    """The points can be set without a pointer: arrow keys move the cross, Enter sets it."""
    root, server = shop
    with_a_picture(root / "by_keyboard")
    page = open_page()
    let_in(page, server)
    page.goto(f"{server.doors.url}corners/by_keyboard")
    page.wait_for_selector("text=Tap corner 1")
    page.focus("#tap")
    page.keyboard.press("Shift+ArrowLeft")
    expecting(page.locator("#loupe")).to_be_visible()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Tap corner 2")
    page.keyboard.press("Backspace")
    page.wait_for_selector("text=Tap corner 1")
