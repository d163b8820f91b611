"""The self-test finds what is known, notices what is off, and is what the docs show."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

import analysis.selftest.report
import wetline
from analysis.selftest.check import run_check
from analysis.selftest.report import CHECKS, report_lines, report_table, run_checks

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def results():
    return run_checks()


def test_every_known_value_is_found_again(results):
    assert [one for one in results if not one.ok] == []
    assert len(results) == len(CHECKS)
    assert report_lines(results, quiet=True) == [f"{len(CHECKS)} known values: all found again."]


def test_the_docs_show_the_same_table(results):
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = report_table(results)
    assert table in text, f"put this into DEVELOPERS.md:\n{table}"


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.what)
def test_each_check_has_a_source_and_can_fail(check):
    assert check.source
    assert check.within < 0.05 * abs(check.expected)
    for off in (3 * check.within + 1e-6 * abs(check.expected), float("nan"), float("inf")):
        assert not run_check(replace(check, find=lambda off=off: check.expected + off)).ok


def test_a_fault_is_a_check_that_fails():
    found = run_check(replace(CHECKS[0], find=lambda: 1 / 0))
    assert not found.ok
    assert "ZeroDivisionError" in found.found


def test_the_command_says_what_is_off_and_exits_with_1(monkeypatch):
    checks = (CHECKS[0], replace(CHECKS[1], find=lambda: 0.5))
    monkeypatch.setattr(analysis.selftest.report.run_checks, "__defaults__", (checks,))
    done = CliRunner().invoke(wetline.main, ["selftest"])
    assert done.exit_code == 1
    assert "OFF  1 lb\n       expected 0.45359237 kg (to 1e-12), found 0.5 kg" in done.output
    assert "trust no answer" in done.output
    told = CliRunner().invoke(wetline.main, ["selftest", "--json"])
    assert told.exit_code == 1
    assert [one["ok"] for one in json.loads(told.output)["checks"]] == [True, False]


def test_the_command_is_quiet_when_asked(monkeypatch):
    monkeypatch.setattr(analysis.selftest.report.run_checks, "__defaults__", (CHECKS[:1],))
    done = CliRunner().invoke(wetline.main, ["selftest", "--quiet"])
    assert (done.exit_code, done.output) == (0, "1 known values: all found again.\n")
