"""Real-browser tests: Chromium with a fake camera that shows a sample run.

They need the packages `playwright` and those of the extra `page`, and a Chromium: the one that
WETLINE_CHROMIUM names, or one on the path. Where something is missing they are skipped; with
WETLINE_BROWSER=1 that is a failure.
"""

import os
import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "sample_frames" / "glass_edge"
SIZE = (640, 360)
PER_SECOND = 2
DRY_S, HELD_S = 8, 45
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


def sample_photos():
    """The sample run's photos, half size."""
    photos = sorted((SAMPLE / "frames").glob("*.jpg"))
    return [cv2.resize(cv2.imread(str(p)), SIZE, interpolation=cv2.INTER_AREA) for p in photos]


@pytest.fixture(scope="session")
def film(tmp_path_factory):
    """The sample run as a YUV4MPEG2 film: dry for a while, the run, and its end held."""
    photos = sample_photos()
    shown = [photos[0]] * (DRY_S * PER_SECOND) + photos + [photos[-1]] * (HELD_S * PER_SECOND)
    path = tmp_path_factory.mktemp("film") / "run.y4m"
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W%d H%d F%d:1 Ip A1:1 C420jpeg\n" % (*SIZE, PER_SECOND))
        for image in shown:
            planes = cv2.cvtColor(image, cv2.COLOR_BGR2YUV_I420)
            file.write(b"FRAME\n" + np.ascontiguousarray(planes).tobytes())
    return path


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
        f"--use-file-for-fake-video-capture={film}",
        "--autoplay-policy=no-user-gesture-required",
    ]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium_path(), args=flags)
        yield browser
        browser.close()


def chromium_version() -> str:
    """What the browser calls itself."""
    path = chromium_path()
    assert path is not None
    return subprocess.run([path, "--version"], capture_output=True, text=True).stdout.strip()
