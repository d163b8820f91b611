"""What Wetline wrote is looked at again before it is believed."""

import io
import zipfile

import numpy as np
import pytest

from vision.common.outside import stored_results
from vision.common.outside.stored_results import checked_fields, read_arrays
from vision.errors import WetlineError
from vision.records import DrySpot, FrontSummary


def test_arrays_come_back_as_they_were(tmp_path):
    path = tmp_path / "arrival.npz"
    np.savez(path, time_s=np.array([[1.0, np.inf]]), names=np.array(["a.jpg"]))
    arrays = read_arrays(path)
    np.testing.assert_array_equal(arrays["time_s"], [[1.0, np.inf]])
    assert list(arrays["names"]) == ["a.jpg"]


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"\x93NUMPY", bytes(1000), b"x" * 1000])
def test_what_is_no_archive_is_a_value_error(tmp_path, data):
    (tmp_path / "arrival.npz").write_bytes(data)
    with pytest.raises(ValueError, match="no stored arrays"):
        read_arrays(tmp_path / "arrival.npz")


def test_a_cut_archive_is_a_value_error(tmp_path):
    out = io.BytesIO()
    np.savez_compressed(out, a=np.arange(1000.0))
    for end in range(0, len(out.getvalue()), 97):
        (tmp_path / "arrival.npz").write_bytes(out.getvalue()[:end])
        with pytest.raises(ValueError, match="no stored arrays"):
            read_arrays(tmp_path / "arrival.npz")


def test_pickled_objects_are_not_opened(tmp_path):
    np.savez(tmp_path / "arrival.npz", a=np.array([{"x": 1}], dtype=object))
    with pytest.raises(ValueError, match="no stored arrays"):
        read_arrays(tmp_path / "arrival.npz")


def test_what_unpacks_without_measure_is_left_packed(tmp_path, monkeypatch):
    monkeypatch.setattr(stored_results, "MOST_ARRAY_BYTES", 10_000_000)
    path = tmp_path / "arrival.npz"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed,
        packed.open("a.npy", "w", force_zip64=True) as entry,
    ):
        entry.write(bytes(11_000_000))
    assert path.stat().st_size < 100_000
    with pytest.raises(ValueError, match="unpacks to 11 MB"):
        read_arrays(path)


def test_a_header_that_promises_more_than_is_there(tmp_path):
    header = b"{'descr': '<f8', 'fortran_order': False, 'shape': (100000000000,), }"
    header += b" " * (117 - len(header)) + b"\n"
    data = b"\x93NUMPY\x01\x00" + len(header).to_bytes(2, "little") + header + bytes(80)
    with zipfile.ZipFile(tmp_path / "arrival.npz", "w") as packed:
        packed.writestr("a.npy", data)
    with pytest.raises(ValueError, match="no stored arrays"):
        read_arrays(tmp_path / "arrival.npz")


def test_a_folder_is_said_to_be_one(tmp_path):
    with pytest.raises(WetlineError, match="is a folder"):
        read_arrays(tmp_path)


@pytest.mark.parametrize(
    ("record", "values", "said"),
    [
        (DrySpot, {"x_mm": True}, "x_mm is no number"),
        (DrySpot, {"x_mm": None}, "x_mm is no number"),
        (DrySpot, {"x_mm": float("nan")}, "no finite number"),
        (DrySpot, {"x_mm": 10**400}, "no finite number"),
        (DrySpot, [1, 2, 3], "is no table"),
        (FrontSummary, {"frames": 2.5}, "frames is no count"),
        (FrontSummary, {"frames": -1}, "frames is no count"),
        (FrontSummary, {"usable": 1}, "usable is no yes or no"),
        (FrontSummary, {"reason": 3}, "reason is no text"),
    ],
)
def test_a_value_of_another_kind(record, values, said):
    with pytest.raises(ValueError, match=said):
        checked_fields(record, values)


def test_null_only_where_the_record_says_so():
    found = checked_fields(FrontSummary, {"stalled_at_mm": None, "frames": 3.0, "new": [1]})
    assert found == {"stalled_at_mm": None, "frames": 3}
