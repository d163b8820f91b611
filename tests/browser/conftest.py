"""Real-browser tests: Chromium with a fake camera that shows a sample run.

They need the packages `playwright` and those of the extra `page`, and a Chromium: the one that
WETLINE_CHROMIUM names, or one on the path. Where something is missing they are skipped; with
WETLINE_BROWSER=1 that is a failure.
"""

import os
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "sample_frames" / "glass_edge"
SIZE = (640, 360)
PER_SECOND = 10
PACKAGES = ("playwright", "starlette", "uvicorn", "segno", "cryptography")


def _missing() -> str:
    import importlib.util

    lacking = [name for name in PACKAGES if importlib.util.find_spec(name) is None]
    if lacking:
        return f"no {', '.join(lacking)}"
    return "" if chromium_path() else "no chromium"


def chromium_path() -> str | None:
    """The browser to drive."""
    named = os.environ.get("WETLINE_CHROMIUM")
    found = (shutil.which(name) for name in (named, "chromium", "chromium-browser") if name)
    return next((path for path in found if path), None)


def pytest_collection_modifyitems(items):
    missing = _missing()
    if not missing:
        return
    if os.environ.get("WETLINE_BROWSER") == "1":
        pytest.exit(f"browser tests were asked for, but there is {missing}", 1)
    for item in items:
        if Path(__file__).parent in Path(item.fspath).parents:
            item.add_marker(pytest.mark.skip(reason=missing))


class Film:
    """What the fake camera shows: one photo of the sample run, half size, until the test moves on.

    The file is a YUV4MPEG2 film of one frame, which the browser reads again and again. A new photo
    is written over the old one; a picture taken just then has a part of each.
    """

    def __init__(self, path):
        self.path = path
        photos = sorted((SAMPLE / "frames").glob("*.jpg"))
        self._planes = [self._planes_of(cv2.imread(str(photo))) for photo in photos]
        self.last = len(photos) - 1
        head = b"YUV4MPEG2 W%d H%d F%d:1 Ip A1:1 C420jpeg\nFRAME\n" % (*SIZE, PER_SECOND)
        self._begin = len(head)
        path.write_bytes(head + self._planes[0])

    def _planes_of(self, photo):
        small = cv2.resize(photo, SIZE, interpolation=cv2.INTER_AREA)
        return np.ascontiguousarray(cv2.cvtColor(small, cv2.COLOR_BGR2YUV_I420)).tobytes()

    def show(self, number):
        """Show a photo of the run; 0 is the dry panel."""
        with self.path.open("r+b") as file:
            file.seek(self._begin)
            file.write(self._planes[number])


@pytest.fixture(scope="session")
def film(tmp_path_factory):
    return Film(tmp_path_factory.mktemp("film") / "run.y4m")


@pytest.fixture(scope="session")
def chromium(film):
    """A Chromium whose camera shows the film; nothing outside this computer is ever asked for."""
    from playwright.sync_api import sync_playwright

    flags = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film.path}",
        "--autoplay-policy=no-user-gesture-required",
    ]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium_path(), args=flags)
        yield browser
        browser.close()
