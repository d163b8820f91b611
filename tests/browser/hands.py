"""What the browser tests do and wait for; nothing is looked at before the page can have it.

A click does not wait for the page it leads to, nor for what the page then asks of the computer:
so every look is one that waits, with a patience that no slow computer outlasts.
"""

import re
import time
from contextlib import contextmanager

import pytest

WAIT_S = 120.0
"""How long anything is waited for before it counts as wrong."""

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
NAMELESS = """[...document.querySelectorAll('button, a, input, select')].filter((e) =>
  !(e.textContent.trim() || e.getAttribute('aria-label') || (e.labels || []).length))
  .map((e) => e.outerHTML)"""
DRAWN = "[...document.images].every((i) => i.loading === 'lazy' || i.complete)"


@contextmanager
def device(chromium, base, **more):
    """Open a device, which tells any request that would leave this computer."""
    context = chromium.new_context(ignore_https_errors=True, **more)
    page = context.new_page()
    page.set_default_timeout(WAIT_S * 1000)
    page.outside, page.faults = [], []
    inside = (base, "blob:", "data:", "file:")
    page.on("request", lambda r: r.url.startswith(inside) or page.outside.append(r.url))
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    try:
        yield page
    finally:
        context.close()


def expecting(what):
    """Return assertions about a page or a place in it that wait until they hold."""
    from playwright.sync_api import expect

    expect.set_options(timeout=WAIT_S * 1000)
    return expect(what)


def until(page, expression, wait_s=WAIT_S):
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


def here(page, found):
    """Wait until something has come from the page."""
    end = time.monotonic() + WAIT_S
    while not found():
        assert time.monotonic() < end, f"nothing came from {page.url} within {WAIT_S} s"
        page.wait_for_timeout(50)


def words_of(page):
    """What the page says, as far as it can be asked."""
    from playwright.sync_api import Error

    try:
        return page.inner_text("body", timeout=1000)
    except Error as error:
        return error.message


def let_in(page, server):
    """Pair a device that may do everything, with a code of its own."""
    from analysis.page.access.rights import ALL

    page.goto(f"{server.doors.url}pair#{server.pairing.invite(ALL).code}")
    expecting(page.locator("#add")).to_be_visible()


def opened(page, address, name, place="#name"):
    """Open a page and wait until what the computer has to say is in it."""
    page.goto(address)
    expecting(page.locator(place).first).to_contain_text(name)


def not_cut_off(page):
    """The page with all its pictures is no wider than its window."""
    until(page, DRAWN)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, page.url


def tap_pixel(page, x, y, act="click"):
    """Press on a pixel of the photo and let go, once the photo stands still."""
    share = page.evaluate(
        "document.getElementById('tap').clientWidth / document.getElementById('image').naturalWidth"
    )
    at = {"x": (x + 0.5) * share, "y": (y + 0.5) * share}
    getattr(page.locator("#tap"), act)(position=at)


def tap_plan(page, across, down):
    """Tap on the plan of a panel, at a share of its length and width."""
    expecting(page.locator("#plan .panel")).to_be_attached()
    left, top, width, height = page.evaluate(
        """() => {
          const plan = document.getElementById("plan"), at = plan.getBoundingClientRect();
          const box = plan.querySelector(".panel").getBoundingClientRect();
          const left = box.left - at.left - plan.clientLeft;
          return [left, box.top - at.top - plan.clientTop, box.width, box.height];
        }"""
    )
    page.locator("#plan").tap(position={"x": left + across * width, "y": top + down * height})


def number_in(page, place):
    """The first whole number that a place shows."""
    shown = re.search(r"\d+", page.locator(place).inner_text())
    return int(shown.group()) if shown else 0


def remember_said(page):
    """Keep what the board says for a few seconds only, for `was_said`."""
    page.evaluate(
        """() => {
          const said = document.getElementById("said");
          window.everSaid = [];
          const keep = () => window.everSaid.push(said.textContent);
          new MutationObserver(keep).observe(said, { childList: true });
        }"""
    )


def was_said(page, text):
    """Wait until the board has said something."""
    until(page, f"window.everSaid.includes({text!r})")
