"""Names, pipes, links and damaged files that no sensible shop would have."""

import json
import os
from pathlib import Path
from urllib.parse import unquote

import pytest

from tests.made_up.live_run import photo, write_panel
from tests.made_up.page_browser import Browser
from vision.common.toml_table import read_toml

for package in ("starlette", "uvicorn", "segno", "cryptography"):
    pytest.importorskip(package, reason="the optional extra `page`")

from analysis.page.server import PageServer  # noqa: E402
from analysis.page.stored.panels import Panels, result_files  # noqa: E402
from analysis.page.watches import Watches  # noqa: E402


@pytest.fixture
def odd_shop(tmp_path):
    """Good and odd panels side by side."""
    write_panel(tmp_path / "good")
    return tmp_path, Watches(Panels(tmp_path))


def test_panel_whose_name_is_no_utf8_is_listed_and_opened(odd_shop):
    root, watches = odd_shop
    odd = os.fsencode(root) + b"/K\xfchlung"
    try:
        os.mkdir(odd)
    except OSError:
        pytest.skip("this system has names in UTF-8 only")
    write_panel(Path(os.fsdecode(odd)), scale=False)
    os.mkdir(odd + b"/frames")
    Path(os.fsdecode(odd + b"/frames/b\xe4d 1.jpg")).write_bytes(photo(0.0))
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        panels = {p["id"]: p for p in browser.values("GET", "/api/panels")["panels"]}
        assert sorted(panels) == ["K%FChlung", "good"]
        assert browser.status("GET", "/panel/K%25FChlung") == 200
        assert browser.values("GET", "/api/panels/K%25FChlung")["length_mm"] == 300
        status, _, body = browser.ask("GET", "/api/panels/K%25FChlung/first")
        assert status == 409
        assert "rename the photos" in json.loads(body)["error"]


def test_photo_name_beyond_latin_1(odd_shop):
    root, watches = odd_shop
    frames = root / "good" / "frames"
    frames.mkdir()
    name = 'Deckel \u4e2d " 1.jpg' if os.name == "posix" else "Deckel \u4e2d 1.jpg"
    (frames / name).write_bytes(photo(0.0))
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        status, headers, _ = browser.ask("GET", "/api/panels/good/first")
        assert status == 200
        assert unquote(headers["x-frame-name"]) == name
        corners = [[60, 50], [540, 50], [540, 306], [60, 306]]
        body = {"corners": corners, "photo": name}
        assert browser.status("POST", "/api/panels/good/corners", body) == 200
    assert read_toml(root / "good" / "panel.toml")["scale"]["photo"] == name


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_pipe_named_as_a_photo_is_passed_over(odd_shop):
    root, watches = odd_shop
    frames = root / "good" / "frames"
    frames.mkdir()
    os.mkfifo(frames / "a.jpg")
    (root / "pipe").mkdir()
    os.mkfifo(root / "pipe" / "panel.toml")
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        assert browser.status("GET", "/api/panels/good/first") == 404
        (frames / "b.jpg").write_bytes(photo(0.0))
        assert browser.ask("GET", "/api/panels/good/first")[1]["x-frame-name"] == "b.jpg"
        assert [p["id"] for p in browser.values("GET", "/api/panels")["panels"]] == ["good"]


@pytest.mark.parametrize(
    "stored",
    [
        b'{"verdict": {"verdict": NaN, "reason": "\\ud800"}}',
        b'{"verdict": [1, 2]}',
        b'{"verdict": {"verdict": {"a": 1e999}}}',
        b"[" * 60_000,
        b"\xff\xfe",
        b"{}",
    ],
)
def test_one_bad_panel_leaves_the_list_standing(odd_shop, stored):
    root, watches = odd_shop
    write_panel(root / "bad")
    (root / "bad" / "results").mkdir()
    (root / "bad" / "results" / "results.json").write_bytes(stored)
    write_panel(root / "worse")
    (root / "worse" / "panel.toml").write_bytes(b"panel = 3\n\xff")
    write_panel(root / "strange")
    (root / "strange" / "panel.toml").write_text("panel = 3\nscale = 4\n")
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        panels = {p["id"]: p for p in browser.values("GET", "/api/panels")["panels"]}
        assert sorted(panels) == ["bad", "good", "strange", "worse"]
        assert panels["good"]["name"] == "Hatch cover strip"
        assert panels["worse"]["reason"]
        for name in panels:
            assert browser.status("GET", f"/api/panels/{name}") in (200, 409)


@pytest.mark.parametrize("name", ["frames", "notes", "stages", "results"])
def test_links_that_lead_out_are_refused(odd_shop, name, tmp_path_factory):
    root, watches = odd_shop
    outside = tmp_path_factory.mktemp("outside")
    (outside / "a.jpg").write_bytes(photo(0.0))
    link_or_skip(root / "good" / name, outside)
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        status, _, body = browser.ask("POST", "/api/panels/good/start", {"camera": "phone"})
        assert status == 409
        assert f"{name}: is a link that leads out" in json.loads(body)["error"]
        if name == "frames":
            assert browser.status("GET", "/api/panels/good/first") == 409
            corners = {"corners": [[60, 50]] * 4, "photo": "a.jpg"}
            assert browser.status("POST", "/api/panels/good/corners", corners) == 409
    assert [path.name for path in outside.iterdir()] == ["a.jpg"]


def test_single_photo_or_panel_file_that_is_a_link_out_is_left_out(odd_shop, tmp_path_factory):
    root, watches = odd_shop
    outside = tmp_path_factory.mktemp("outside")
    (outside / "a.jpg").write_bytes(photo(0.0))
    (root / "good" / "frames").mkdir()
    link_or_skip(root / "good" / "frames" / "a.jpg", outside / "a.jpg")
    write_panel(outside / "far")
    (root / "near").mkdir()
    link_or_skip(root / "near" / "panel.toml", outside / "far" / "panel.toml")
    with PageServer(watches, port=0) as server:
        browser = Browser(server)
        assert browser.status("GET", "/api/panels/good/first") == 404
        assert browser.status("GET", "/api/panels/near") == 404


def link_or_skip(link, target):
    try:
        link.symlink_to(target, target_is_directory=target.is_dir())
    except OSError:
        pytest.skip("no right to make links here")


def test_results_folder_that_is_a_link_is_left_out(tmp_path):
    folder = write_panel(tmp_path / "p")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "report.html").write_text("x")
    try:
        (folder / "results").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    except OSError:
        pytest.skip("no right to make links here")
    assert result_files(folder) == {}
