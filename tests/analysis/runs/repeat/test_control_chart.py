"""Chart of individuals against a worked example, its constants by integration, its rules."""

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.runs.repeat.control_chart import D2, D4, control_chart

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches.
BATCHES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def chart_of(values, baseline=None):
    return control_chart(
        "K", "m2", [str(i) for i in range(len(values))], values, baseline or len(values)
    )


def test_worked_example_of_the_handbook():
    chart = chart_of(BATCHES)
    assert chart.centre == pytest.approx(50.81)
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert chart.range_upper == pytest.approx(D4 * 1.8778, abs=1e-3)
    assert chart.signals == ()
    assert not chart.firm


def test_constants_are_integrals_of_the_normal_law():
    # d2 is the mean range of two, D4 = 1 + 3 d3 / d2 with d3 its sd.
    def moment(power):
        step = lambda r: 2 * r**power * stats.norm.pdf(r, scale=np.sqrt(2))  # noqa: E731
        return integrate.quad(step, 0, 20)[0]

    d2, d3 = moment(1), np.sqrt(moment(2) - moment(1) ** 2)
    assert pytest.approx(d2, abs=5e-4) == D2
    assert pytest.approx(1 + 3 * d3 / d2, abs=5e-4) == D4


def steps(*values):
    """A baseline with centre 0 and sd 1, then values in sd."""
    base = np.array([-0.5, 0.5] * 10) * 1.128
    return chart_of([*base, *values], 20)


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ([3.1], 1),
        ([-3.1], 1),
        ([2.1, 0.0, 2.1], 2),
        ([-2.1, -2.1], 2),
        ([1.1, 1.1, 0.2, 1.1, 1.1], 3),
        ([0.2] * 8, 4),
        ([-0.2] * 8, 4),
    ],
)
def test_each_rule_finds_its_pattern(values, rule):
    found = steps(*values).signals
    assert rule in {signal.rule for signal in found if signal.index == 19 + len(values)}


@pytest.mark.parametrize(
    "values",
    [[2.9], [2.1, 0.0, -2.1], [2.1, 0, 0, 2.1], [1.1, 1.1, 0.2, 0.2, 1.1], [0.2] * 7],
)
def test_what_is_no_pattern_is_let_pass(values):
    assert steps(-0.01, *values).signals == ()


def test_rules_rarely_cry_wolf_on_steady_runs():
    # Rule 1 alone: 0.27 % a point for a normal law (two-sided, 3 sd).
    rng = np.random.default_rng(2)
    chart = chart_of(rng.normal(0, 1, 20_000), 20_000)
    ones = sum(signal.rule == 1 for signal in chart.signals)
    assert ones / 20_000 == pytest.approx(0.0027, abs=4 * np.sqrt(0.0027 / 20_000))


def test_a_jump_between_two_runs_inside_the_limits():
    found = steps(-2.0, 2.0).signals
    assert {signal.rule for signal in found} == {0}


def test_few_or_equal_runs_have_no_limits():
    assert "limits need 5" in chart_of([1.0, 1.1, None, 1.2, 1.0]).reason
    assert "all alike" in chart_of([1.0] * 6).reason
    for chart in (chart_of([1.0] * 6), chart_of([1.0, 2.0])):
        assert chart.upper is chart.lower is chart.range_upper is None
        assert chart.signals == ()


def test_a_run_without_the_number_is_passed_over():
    chart = chart_of([1.0, 1.1, 0.9, 1.0, 1.1, None, 3.0], 5)
    assert {signal.index for signal in chart.signals} == {6}
