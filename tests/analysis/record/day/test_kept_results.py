"""Results of earlier commands: kept with what they rest on, and doubted once that has changed."""

import pytest

from analysis.record.day.kept_results import Kept, keep_drawdown, keep_result, kept_result
from analysis.shop.drawdown import assess_drawdown
from analysis.shop.gauge_log import read_gauge
from vision.errors import WetlineError


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "panel.toml").write_text("[resin]\ngel_time_min = 60\n")
    return tmp_path


def test_a_result_holds_until_settings_or_front_change(folder):
    keep_result(folder, "resin", {"total_kg": 4})
    assert kept_result(folder, "resin").good["total_kg"] == 4
    (folder / "results" / "front.csv").write_text("time_s\n")
    assert kept_result(folder, "resin").stale
    keep_result(folder, "resin", {"total_kg": 4})
    (folder / "panel.toml").write_text("[resin]\ngel_time_min = 61\n")
    stale = kept_result(folder, "resin")
    assert stale.stale
    assert stale.good == {}


def test_none_and_junk_are_no_result(folder):
    assert kept_result(folder, "resin") == Kept()
    (folder / "results").mkdir()
    (folder / "results" / "resin.json").write_text("junk")
    assert kept_result(folder, "resin") == Kept()


def drawn_down(log):
    log.write_text("time_min,bag_mbar\n" + "".join(f"{t},{20 + 0.2 * t}\n" for t in range(25)))
    readings = read_gauge(log, None, 1013.25)
    return readings, assess_drawdown(readings)


def test_a_drawdown_goes_to_the_folder_its_log_lies_in(folder):
    log = folder / "logs" / "dd.csv"
    log.parent.mkdir()
    readings, found = drawn_down(log)
    keep_drawdown(log, readings, found, None)
    kept = kept_result(folder, "drawdown", "log_file")
    assert kept.good["verdict"] == found.verdict
    assert kept.good["log_file"] == "logs/dd.csv"
    assert kept.good["log"]["time_min"][-1] == pytest.approx(24.0)
    log.write_text("time_min,bag_mbar\n0,1\n1,2\n")
    assert kept_result(folder, "drawdown", "log_file").stale


def test_a_log_elsewhere_is_kept_only_where_a_panel_is_named(folder, tmp_path_factory):
    log = tmp_path_factory.mktemp("gauge") / "dd.csv"
    readings, found = drawn_down(log)
    keep_drawdown(log, readings, found, None)
    assert not (log.parent / "results").exists()
    keep_drawdown(log, readings, found, folder)
    assert kept_result(folder, "drawdown", "log_file").good["log_file"] == "dd.csv"
    with pytest.raises(WetlineError, match=r"no panel\.toml"):
        keep_drawdown(log, readings, found, log.parent)
