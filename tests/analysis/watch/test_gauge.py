"""What gauge readings typed at the board say."""

import pytest

from analysis.panel.gauge_readings import add_reading, read_readings
from analysis.watch.gauge import drawdown_text, vacuum_lost
from vision.errors import WetlineError

START_S = 1_933_000_000.0


def test_gauge_readings_make_a_drawdown(tmp_path):
    for k in range(8):
        add_reading(tmp_path, START_S + 180.0 * k, 5.0 + 0.5 * k)
    readings = read_readings(tmp_path)
    verdict, text = drawdown_text(readings, None)
    # 0.5 mbar each 3 min is 3.3 mbar in 20 min, within 10.
    assert verdict == "go"
    assert "3.3 mbar in 20 min" in text
    assert drawdown_text(readings[:1], None) == ("", "1 of at least 2 gauge readings")
    assert drawdown_text(readings[:2], None)[0] == "look again"
    assert "only 3.0 min of log" in drawdown_text(readings[:2], None)[1]
    with pytest.raises(WetlineError, match="mbar absolute"):
        add_reading(tmp_path, START_S, -5.0)


def test_vacuum_lost_is_a_share_of_the_pull():
    readings = [(0.0, 10.0), (100.0, 20.0), (200.0, 111.0)]
    # From 10 to 111 mbar of 1013: 101 of 1003.
    assert vacuum_lost(readings, 50.0, 1013.0) == pytest.approx(101 / 1003)
    assert vacuum_lost(readings, None, 1013.0) == 0.0
    assert vacuum_lost(readings[:1], 50.0, 1013.0) == 0.0
