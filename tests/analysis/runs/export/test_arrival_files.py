"""The arrival map read back by other programs, numbers and scale."""

import numpy as np
import pytest
from PIL import Image
from skimage import io

from analysis.runs.export.arrival_files import remove_arrival, write_arrival
from vision.records import ArrivalMap


@pytest.fixture
def arrival():
    """Oblong, uneven, with a spot that never wetted and one that was not seen."""
    time_s = np.add.outer(np.arange(5.0), 10.5 * np.arange(8.0))
    time_s[1, 6] = np.inf
    seen = np.ones((5, 8), bool)
    seen[3, 2] = False
    return ArrivalMap(time_s, seen, np.zeros((5, 8), bool), 0.8, 90.0)


def pillow(path):
    with Image.open(path) as picture:
        return np.array(picture)


def test_numbers_come_back(tmp_path, arrival):
    write_arrival(tmp_path / "new", "cover 7", arrival)
    for read in (
        np.load(tmp_path / "new" / "arrival_s.npy"),
        io.imread(tmp_path / "new" / "arrival_s.tif"),
        pillow(tmp_path / "new" / "arrival_s.tif"),
    ):
        assert read.dtype == np.float32
        np.testing.assert_array_equal(read, arrival.time_s.astype(np.float32))
    seen = io.imread(tmp_path / "new" / "arrival_seen.tif")
    np.testing.assert_array_equal(seen == 255, arrival.seen)
    assert set(np.unique(seen)) == {0, 255}


def test_scale_stands_in_the_tags_and_beside_it(tmp_path, arrival):
    write_arrival(tmp_path, "cover 7", arrival)
    # TIFF 6.0: 282 and 283 are pixels for each unit, 296 the unit, 3 for the centimetre.
    with Image.open(tmp_path / "arrival_s.tif") as picture:
        tags = dict(picture.tag_v2)
    assert tags[296] == 3
    assert float(tags[282]) == float(tags[283]) == pytest.approx(10 / 0.8)
    assert "mm_per_px 0.800000" in tags[270]
    words = dict(
        line.split(": ", 1) for line in (tmp_path / "arrival_read_me.txt").read_text().splitlines()
    )
    assert (words["rows"], words["columns"]) == ("5", "8")
    assert float(words["mm_per_px"]) == 0.8
    assert words["filled_percent"] == "2.5"
    assert "not wetted" in words["infinity"]


def test_the_same_map_gives_the_same_bytes(tmp_path, arrival):
    for folder in ("a", "b"):
        write_arrival(tmp_path / folder, "x", arrival)
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
    remove_arrival(tmp_path / "a")
    assert list((tmp_path / "a").iterdir()) == []
