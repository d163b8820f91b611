"""What a run leaves in its folder."""

import csv

import numpy as np

from analysis.infusion.answer.run_files import write_photo, write_run
from tests.made_up.infusion_answers import even_run, grey_photo, late_run, unusable_run


def table_of(results):
    with (results / "part_front.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_run_leaves_map_table_numbers_pictures_and_page(tmp_path):
    run, results = late_run(tmp_path), tmp_path / "results"
    write_run(run, results, (39, grey_photo()))
    assert sorted(path.name for path in results.iterdir()) == [
        "arrival.npz",
        "part_front.csv",
        "part_late.png",
        "part_lines.jpg",
        "part_resin_seen.png",
        "part_run.html",
        "part_run.json",
    ]
    stored = np.load(results / "arrival.npz")
    assert np.array_equal(stored["time_s"], run.seen.time_s, equal_nan=True)
    assert float(stored["last_s"]) == run.seen.last_s
    rows = table_of(results)
    assert len(rows) == 40
    assert float(rows[-1]["wetted_fraction"]) > 0.99
    assert float(rows[-1]["resin_in_kg"]) > 0.25
    page = (results / "part_run.html").read_text(encoding="utf-8")
    assert page.count("data:image/") == 3
    assert "UNEVEN" in page
    assert "http" not in page.split("<body>")[1].split("data:")[0]


def test_pictures_that_no_longer_hold_are_taken_away(tmp_path):
    results = tmp_path / "results"
    write_run(even_run(tmp_path), results, (39, grey_photo()))
    write_run(unusable_run(tmp_path), results, None)
    left = {path.name for path in results.iterdir()}
    assert left == {"arrival.npz", "part_front.csv", "part_run.html", "part_run.json"}
    rows = table_of(results)
    assert all(row["resin_in_kg"] == "" for row in rows)


def test_the_lines_on_any_photo(tmp_path):
    path = write_photo(even_run(tmp_path), tmp_path / "results", 7, grey_photo())
    assert path == tmp_path / "results" / "part_lines" / "photo_007.jpg"
    assert path.stat().st_size > 1000
