"""A recorded panel or part worked out from the page: begun, shown, stopped, refused."""

import json
import shutil
import time
from pathlib import Path

import pytest

from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser
from tests.made_up.page_jobs import end_without_a_word, wait_for_ever
from vision.errors import WetlineError

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.jobs import DIED, STOPPED, Jobs  # noqa: E402
from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels, describe  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402

SAMPLES = Path(__file__).resolve().parents[4] / "sample_frames"
PATIENCE_S = 240.0
PART_TOML = """name = "lid"
[frames]
source = "frames"
"""


def soon(found):
    """Return what is found as soon as it is there; its length of time is of no matter."""
    until = time.monotonic() + PATIENCE_S
    while not (value := found()):
        assert time.monotonic() < until
        time.sleep(0.05)
    return value


@pytest.fixture
def shop(tmp_path):
    ignore = shutil.ignore_patterns("truth")
    shutil.copytree(SAMPLES / "pen_marks", tmp_path / "strip", ignore=ignore)
    write_panel(tmp_path / "lid")
    with PageServer(Watches(Panels(tmp_path)), port=0) as server:
        yield tmp_path, Browser(server)
        server.watches.close()


def test_a_recorded_panel_is_worked_out_and_shown(shop):
    root, browser = shop
    before = browser.values("GET", "/api/panels/strip")
    assert (before["ready"], before["recorded"], before["run"]) == (True, True, None)
    assert before["verdict"] is None
    assert browser.status("POST", "/api/panels/strip/run", {}) == 200
    browser.status("POST", "/api/panels/strip/run", {})  # a second tap begins no second run

    def ended():
        run = browser.values("GET", "/api/panels/strip")["run"]
        return [run] if run is None or not run["running"] else None

    assert soon(ended) == [None]
    after = browser.values("GET", "/api/panels/strip")
    assert after["verdict"]
    assert "report.html" in after["files"]
    assert (root / "strip" / "results" / "results.json").is_file()


def test_what_cannot_be_worked_out_says_why(shop):
    root, browser = shop
    (root / "strip" / "marks.csv").write_text("time_s,distance_mm\n0,ten\n", encoding="utf-8")
    assert browser.status("POST", "/api/panels/strip/run", {}) == 200

    def fault():
        run = browser.values("GET", "/api/panels/strip")["run"]
        return run is not None and not run["running"] and run["fault"]

    assert "marks.csv" in soon(fault)
    assert browser.values("GET", "/api/panels/strip")["verdict"] is None


def test_a_panel_on_the_board_is_not_worked_out_beside_it(shop):
    _, browser = shop
    start = {"camera": "phone", "interval_s": 10}
    assert browser.status("POST", "/api/panels/lid/start", start) == 200
    status, _, body = browser.ask("POST", "/api/panels/lid/run", {})
    assert (status, "is on the board" in json.loads(body)["error"]) == (409, True)


def test_a_run_is_stopped_and_another_waits_for_it(tmp_path):
    for name in ("a", "b"):
        write_panel(tmp_path / name)
    with Jobs(wait_for_ever) as jobs:
        jobs.start("a", tmp_path / "a")
        soon(lambda: jobs.told("a")["share"] == 0.25)
        assert jobs.told("a") == {"running": True, "share": 0.25, "fault": ""}
        with pytest.raises(WetlineError, match="a is being worked out: wait for it"):
            jobs.start("b", tmp_path / "b")
        jobs.stop("a")
        soon(lambda: not jobs.told("a")["running"])
        assert jobs.told("a")["fault"] == STOPPED
        assert jobs.told("b") is None


def test_a_process_that_goes_without_a_word_is_told(tmp_path):
    write_panel(tmp_path / "a")
    with Jobs(end_without_a_word) as jobs:
        jobs.start("a", tmp_path / "a")
        soon(lambda: not jobs.told("a")["running"])
        assert jobs.told("a")["fault"] == DIED


@pytest.mark.parametrize(
    ("scale", "words", "ready"),
    [
        ('method = "sheet"\nmarker_mm = 85\n', "by printed cards beside it", True),
        (
            'method = "outline"\nphoto = "a.jpg"\npoints_px = [[1, 2]]\n',
            "by its corners, tapped on a.jpg",
            True,
        ),
        ('method = "outline"\n', "", False),
    ],
)
def test_a_part_says_what_scale_it_has(tmp_path, scale, words, ready):
    folder = tmp_path / "lid"
    (folder / "frames").mkdir(parents=True)
    (folder / "part.toml").write_text(f"{PART_TOML}[scale]\n{scale}", encoding="utf-8")
    assert describe("lid", folder)["ready"] is False  # no photo yet
    (folder / "frames" / "a.jpg").write_bytes(b"jpeg")
    shown = describe("lid", folder)
    assert (shown["scale_words"], shown["ready"]) == (words, ready)
    assert shown["tap_again"] is ready


def refused_entry(*_):
    raise PermissionError(13, "Permission denied")


@pytest.mark.parametrize("closed", ["photos", "result_files"])
def test_a_part_that_may_not_be_looked_into_says_so_in_its_place(tmp_path, monkeypatch, closed):
    folder = tmp_path / "lid"
    folder.mkdir()
    (folder / "part.toml").write_text(PART_TOML, encoding="utf-8")
    monkeypatch.setattr(f"analysis.page.stored.panels.{closed}", refused_entry)
    shown = describe("lid", folder)
    assert "this part's files cannot be read: run `wetline run`" in shown["reason"]
    assert (shown["files"], shown["ready"]) == ([], False)


def test_a_panel_with_cards_is_not_tapped_over_them(tmp_path):
    folder = tmp_path / "strip"
    (folder / "frames").mkdir(parents=True)
    (folder / "frames" / "a.jpg").write_bytes(b"jpeg")
    text = '[panel]\nname = "s"\n[frames]\nsource = "frames"\n[scale]\nmethod = "sheet"\n'
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    shown = describe("strip", folder)
    assert (shown["ready"], shown["tap_again"]) == (True, False)
    text = text.replace('"sheet"', '"corners"\ncorners_px = [[0, 0], [9, 0], [9, 9], [0, 9]]')
    (folder / "panel.toml").write_text(text, encoding="utf-8")
    assert describe("strip", folder)["tap_again"] is True
    outside = text.replace('source = "frames"', 'source = "../run.mp4"')
    (tmp_path / "run.mp4").write_bytes(b"film")
    (folder / "panel.toml").write_text(outside, encoding="utf-8")
    shutil.rmtree(folder / "frames")
    shown = describe("strip", folder)
    assert (shown["recorded"], shown["ready"]) == (False, False)
