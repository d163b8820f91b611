import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.errors import WetlineError
from vision.front.front_csv import (
    HEADER,
    read_front_csv,
    read_second_front_csv,
    write_front_csv,
    write_second_front,
)
from vision.records import FrontCurve, SecondFront


def curve(flow="edge"):
    numbers = np.array([0.0, 12.345, 20.0])
    axes = dict.fromkeys(("semi_major_mm", "semi_minor_mm", "angle_deg"), numbers)
    lengths = ("front_mean_mm", "front_median_mm", "front_min_mm", "front_max_mm")
    return FrontCurve.of(
        flow,
        ("a.jpg", 'b, "c".jpg', "d.jpg"),
        np.array([-5.0, 10.0, 20.5]),
        np.array([False, True, True]),
        ("before resin start", "", "camera moved; hand"),
        **dict.fromkeys((*lengths, "front_clean_mm", "front_clean_sd_mm"), numbers),
        front_sd_mm=np.array([0.1, 0.4, 0.4]),
        wetted_fraction=np.array([0.0, 0.5, 1.0]),
        **(axes if flow == "point" else {}),
    )


@pytest.mark.parametrize("flow", ["edge", "point"])
def test_front_table_comes_back_as_written(tmp_path, flow):
    path = tmp_path / "front.csv"
    write_front_csv(path, curve(flow))
    back = read_front_csv(path)
    for item in dataclasses.fields(FrontCurve):
        want, got = getattr(curve(flow), item.name), getattr(back, item.name)
        if isinstance(want, np.ndarray) and want.dtype != bool:
            assert_allclose(got, want, atol=1e-3)
        else:
            assert np.array_equal(np.asarray(got), np.asarray(want)), item.name


def test_header_begins_with_the_columns_promised(tmp_path):
    assert HEADER[:10] == (
        "frame", "time_s", "front_mean_mm", "front_median_mm", "front_min_mm", "front_max_mm",
        "front_sd_mm", "wetted_fraction", "used", "note",
    )  # fmt: skip


def test_a_foreign_table_is_refused(tmp_path):
    (tmp_path / "front.csv").write_text("a,b\n1,2\n")
    with pytest.raises(WetlineError, match="run `wetline track` again"):
        read_front_csv(tmp_path / "front.csv")


def test_new_columns_stand_at_the_end_and_a_table_without_them_is_read(tmp_path):
    path = tmp_path / "front.csv"
    write_front_csv(path, curve())
    lines = path.read_text().splitlines()
    assert lines[0].endswith(",angle_deg,front_half_mm,front_band_mm")
    path.write_text("\n".join(line.rpartition(",")[0].rpartition(",")[0] for line in lines) + "\n")
    back = read_front_csv(path)
    assert_allclose(back.front_mean_mm, curve().front_mean_mm, atol=1e-3)
    assert np.isnan(back.front_half_mm).all()


def test_the_other_front_comes_back_as_written(tmp_path):
    path = tmp_path / "second_front.csv"
    assert read_second_front_csv(path) is None
    times, front = np.array([-5.0, 0.0, 10.0]), np.array([0.0, np.nan, 12.5])
    write_second_front(path, SecondFront("first", times, front, np.array([2.0, 2.0, 1.5])))
    assert path.read_text().splitlines()[:3] == [
        "change,time_s,front_mm,front_sd_mm", "first,-5.000,0.000,2.000", "first,0.000,,2.000",
    ]  # fmt: skip
    back = read_second_front_csv(path)
    assert back.which == "first"
    assert_allclose(back.time_s, times)
    assert_allclose(back.front_mm, front)
    path.write_text("change,time_s\nfirst,x\n")
    with pytest.raises(WetlineError, match="run `wetline track` again"):
        read_second_front_csv(path)
