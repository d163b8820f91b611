import pytest
from numpy.testing import assert_allclose

from vision.common.csv_table import number_column, read_table
from vision.errors import WetlineError


def write(folder, text):
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_notes_blank_lines_and_empty_cells_at_the_end_do_no_harm(tmp_path):
    path = write(tmp_path, "# pump off\nTime_s, bag_mbar,\n\n0,5,\n60,7,\n")
    table = read_table(path)
    assert list(table) == ["time_s", "bag_mbar"]
    assert table.lines == (4, 5)
    assert_allclose(number_column(path, table, "bag_mbar"), [5, 7])


def test_semicolons_with_decimal_commas(tmp_path):
    path = write(tmp_path, "time_min;distance_mm\n1,5;12,25\n")
    table = read_table(path)
    assert_allclose(number_column(path, table, "time_min"), [1.5])
    assert_allclose(number_column(path, table, "distance_mm"), [12.25])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time_min,distance_mm\n1,5,159\n", "put ; between the columns"),
        ("time_min,distance_mm\n1\n", "row 2 has 1 columns where the header has 2"),
        ("time_min,time_min\n1,2\n", "names time_min twice"),
        ("time_min,distance_mm\n", "holds no rows"),
        ("time_min;distance_mm\n1;1,200\n", "may be 1200 or 1.200"),
        ("# a\ntime_min;distance_mm\n\n1;far\n", "row 4, distance_mm = far: must be a number"),
        ("time_min;distance_mm\n1;nan\n", "row 2, distance_mm = nan: must be a number"),
        ("time_min;distance_mm\n1;inf\n", "must be a number"),
        ("time_min;distanc_mm\n1;3\n", "did you mean distanc_mm"),
    ],
)
def test_what_is_wrong_is_told_with_its_row(tmp_path, text, message):
    path = write(tmp_path, text)
    with pytest.raises(WetlineError, match=message) as caught:
        number_column(path, read_table(path), "distance_mm")
    assert "\n" not in str(caught.value)


def test_the_nearest_column_is_named(tmp_path):
    table = read_table(write(tmp_path, "tme_min,bag\n1,2\n"))
    with pytest.raises(WetlineError, match=r"must hold time_s or time_min; did you mean time_min"):
        table.pick(("time_s", "time_min"))
    with pytest.raises(WetlineError, match="row 2, bag = 2: is odd"):
        raise table.bad_cell(0, "bag", "is odd")


def test_a_file_that_is_no_text_or_not_there(tmp_path):
    with pytest.raises(WetlineError, match="not found"):
        read_table(tmp_path / "none.csv")
    (tmp_path / "a.csv").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(WetlineError, match="save it as CSV in UTF-8"):
        read_table(tmp_path / "a.csv")
