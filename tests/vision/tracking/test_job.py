"""What a doubtful, a refused and a mended run leave behind, on a made-up panel of photos."""

import json

import cv2
import numpy as np
import pytest

from analysis.record.panel_job import run_panel
from tests.made_up.live_run import picture, write_panel
from vision.tracking.job import track_folder

TIMES_S = np.arange(-60.0, 620.0, 20.0)


def photographs(kind):
    """Photos of a run as it was; one with a patch that dries again; one without any resin."""
    for k, time_s in enumerate(TIMES_S):
        if kind == "nothing":
            yield picture(-1000.0, seed=k)
        else:
            yield picture(time_s, dries=kind == "patch" and time_s >= 260.0)


def lay_down(folder, kind):
    """Put the photos of a run into its folder, in place of those before."""
    (folder / "frames").mkdir(exist_ok=True)
    for k, image in enumerate(photographs(kind)):
        cv2.imwrite(str(folder / "frames" / f"{k:03d}.png"), image)


@pytest.fixture
def folder(tmp_path):
    place = write_panel(tmp_path / "panel")
    text = (place / "panel.toml").read_text(encoding="utf-8")
    (place / "panel.toml").write_text(text + "[frames]\ninterval_s = 20\n", encoding="utf-8")
    return place


def front_of(folder):
    return json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))["front"]


def test_a_run_that_is_not_explained_shows_where_and_a_mended_one_no_longer(folder):
    lay_down(folder, "patch")
    job = track_folder(folder, quiet=True)
    assert job.tracked.front.doubts
    places = job.run.unexplained
    odd = places.odd | places.elsewhere
    mm = job.tracked.arrival.mm_per_px
    # The patch: rows 60 to 180 and columns 90 to 300 of the photo, 6 to 81 mm across and 19 to
    # 150 mm along.
    x, y = (np.arange(count) * mm for count in odd.shape[::-1])
    inside = np.ix_((y > 15) & (y < 70), (x > 30) & (x < 140))
    outside = np.ix_(y > 90, x < 290)
    assert odd[inside].mean() > 0.8
    assert odd[outside].mean() < 0.05
    assert any("unexplained.png" in line for line in job.lines())
    shown = cv2.imread(str(folder / "results" / "unexplained.png"))
    assert shown.shape[1] == 1024
    assert front_of(folder)["unexplained_picture"] == "unexplained.png"

    lay_down(folder, "whole")
    job = track_folder(folder, quiet=True)
    assert not job.tracked.front.doubts
    assert job.run.unexplained is None
    assert not (folder / "results" / "unexplained.png").exists()
    assert front_of(folder)["unexplained_picture"] == ""


def test_the_record_of_a_doubtful_run_shows_where_and_says_so(folder):
    lay_down(folder, "patch")
    found = run_panel(folder, pdf=True)
    assert found.verdict == "cannot decide"
    assert "unexplained.png in the results shows where" in found.reason
    page = (folder / "results" / "report.html").read_text(encoding="utf-8")
    assert "Places that what was found does not explain" in page
    assert (folder / "results" / "report.pdf").stat().st_size > 20_000


def test_a_refused_run_leaves_its_reason_and_nothing_of_the_run_before(folder):
    lay_down(folder, "whole")
    run_panel(folder, pdf=True)
    results = folder / "results"
    assert front_of(folder)["usable"]
    assert (results / "curve.png").exists()
    (results / "forecast.json").write_text("{}", encoding="utf-8")  # as `wetline forecast` leaves

    lay_down(folder, "nothing")
    found = run_panel(folder)
    assert found.verdict == "cannot decide"
    assert "nothing changed on the panel" in found.reason
    front = front_of(folder)
    assert not front["usable"]
    assert front["reason"][1:60] in (results / "report.html").read_text(encoding="utf-8")
    # Nothing of the good run is left: no curve, no PDF, no numbers.
    left = sorted(path.name for path in results.iterdir())
    tracked = ["arrival.npz", "front.csv", "front_lines.jpg"]
    assert left == [*tracked, "record.json", "report.html", "results.json"]
    rows = (results / "front.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert len(rows) == len(TIMES_S)
    assert all(row.split(",")[2] == "" and ",no,front not measured" in row for row in rows)
    document = json.loads((results / "results.json").read_text(encoding="utf-8"))
    assert document["permeability"]["k_m2"] is None
    assert document["fill"]["time_s"] is None
