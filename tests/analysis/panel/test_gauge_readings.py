import pytest

from analysis.panel.gauge_readings import add_reading, gauge_log
from vision.errors import WetlineError
from vision.settings.event_log import RESIN_OPEN, Stamp, add_stamp

START_S = 1_933_000_000.0


def typed(folder, *readings, stamp=True):
    for minutes, bag_mbar in readings:
        add_reading(folder, START_S + 60.0 * minutes, bag_mbar)
    if stamp:
        add_stamp(folder, Stamp(START_S, RESIN_OPEN))
    return gauge_log(folder, 101_300.0)


def test_readings_count_from_resin_open_with_the_last_one_before_it_at_zero(tmp_path):
    log = typed(tmp_path, (-20, 12.0), (-2, 13.0), (10, 20.0), (20, 150.0))
    assert log.time_s.tolist() == [0.0, 600.0, 1200.0]
    assert log.value.tolist() == pytest.approx([100_000.0, 99_300.0, 86_300.0])


def test_too_little_to_tell_a_sag(tmp_path):
    assert gauge_log(tmp_path, 101_300.0) is None
    assert typed(tmp_path, (-20, 12.0), (-2, 13.0)) is None
    assert typed(tmp_path / "unstamped", (-2, 13.0), (10, 20.0), stamp=False) is None


def test_what_no_gauge_reads_is_refused(tmp_path):
    with pytest.raises(WetlineError, match="0 to 1100"):
        add_reading(tmp_path, START_S, 2000.0)
