"""The plan that marks are placed on: the panel's size, and the front lines of a made-up run."""

import numpy as np
import pytest

from analysis.page.stored.plan_lines import MOST_POINTS, plan_lines
from tests.made_up.live_run import write_panel

LENGTH_MM, WIDTH_MM, K_MM2_PER_S = 300.0, 160.0, 120.0


def write_run(folder, hidden=False):
    """An arrival map with x = sqrt(k t), as `wetline run` leaves it."""
    results = folder / "results"
    results.mkdir()
    x_mm = np.tile(np.arange(0.5, LENGTH_MM), (int(WIDTH_MM), 1))
    seen = np.ones_like(x_mm, bool)
    if hidden:
        seen[40:80] = False
    np.savez(
        results / "arrival.npz",
        time_s=(x_mm**2 / K_MM2_PER_S).astype(np.float32),
        seen=seen,
        by_hand=~seen & False,
        mm_per_px=1.0,
        last_s=750.0,
        frames=np.array(["a.jpg"]),
        clock_s=np.array([0.0]),
        start_clock_s=0.0,
        homographies=np.eye(3)[None],
    )
    (results / "results.json").write_text("{}")


def test_lines_stand_where_the_front_stood(tmp_path):
    folder = write_panel(tmp_path / "p")
    write_run(folder)
    plan = plan_lines(folder)
    assert (plan["length_mm"], plan["width_mm"], plan["flow"]) == (LENGTH_MM, WIDTH_MM, "edge")
    labels = [line["label"] for line in plan["lines"]]
    assert len(labels) == len(set(labels)) >= 5
    for line in plan["lines"]:
        x_mm = np.array(line["points"])[:, 0]
        minutes = float(line["label"].split()[0])
        assert x_mm == pytest.approx(np.sqrt(K_MM2_PER_S * 60 * minutes), abs=0.6)
        assert len(line["points"]) <= 2 * MOST_POINTS
        assert line["seen"]
        assert not line["dry"]


def test_hidden_stretches_are_told_apart(tmp_path):
    folder = write_panel(tmp_path / "p")
    write_run(folder, hidden=True)
    lines = plan_lines(folder)["lines"]
    unseen = [line for line in lines if not line["seen"]]
    assert unseen
    for line in unseen:
        y_mm = np.array(line["points"])[:, 1]
        assert y_mm.min() > 37
        assert y_mm.max() < 83


def test_without_a_run_or_with_a_damaged_one_there_is_the_bare_panel(tmp_path):
    folder = write_panel(tmp_path / "p")
    assert plan_lines(folder)["lines"] == []
    write_run(folder)
    (folder / "results" / "arrival.npz").write_bytes(b"PK")
    assert plan_lines(folder)["lines"] == []
    assert plan_lines(folder)["length_mm"] == LENGTH_MM


def test_results_that_lead_out_are_not_followed(tmp_path):
    folder, other = write_panel(tmp_path / "p"), write_panel(tmp_path / "q")
    write_run(other)
    try:
        (folder / "results").symlink_to(other / "results", target_is_directory=True)
    except OSError:
        pytest.skip("no right to make links here")
    assert plan_lines(folder)["lines"] == []
