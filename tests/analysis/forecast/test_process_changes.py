"""What could be changed so that the part fills, and by how much."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.forecast.forecast import forecast_json, forecast_lines
from analysis.forecast.process_changes import enough_together
from analysis.forecast.what_if import Change, outcome
from analysis.panel.records import Part, Vacuum
from tests.made_up.curves import (
    D_M2_S,
    make_panel,
)
from tests.made_up.forecasts import RESIN, change_of, made


def test_each_change_that_is_enough_really_is():
    found = made()
    changes = {
        "slower hardener": lambda v: Change(cure=v / 60.0),
        "flow media": lambda v: Change(speed=v),
        "shorter run": lambda v: Change(length=v / 1000.0),
        "more feed lines": lambda v: Change(length=v / 2000.0, feeds=2.0),
        "feed from the middle": lambda v: Change(length=v / 1000.0, feeds=2.0),
    }
    for name, change in changes.items():
        item = change_of(found, name)
        assert item.enough
        assert outcome(found.case, change(item.needed)).room >= -1e-3
        if name != "feed from the middle":
            far = 0.9 if name in ("slower hardener", "flow media") else 1.1
            assert outcome(found.case, change(item.needed * far)).room < 0.0


def test_changes_agree_with_closed_forms():
    # 1 m at D = 1.9e-4 m2/s takes 5263 s against 2520 s of working time (reference case).
    found = made()
    assert change_of(found, "flow media").likely == pytest.approx(1 / D_M2_S / 2520, rel=0.02)
    assert change_of(found, "slower hardener").likely == pytest.approx(
        1 / D_M2_S / 0.7 / 60, rel=0.02
    )
    assert change_of(found, "shorter run").likely == pytest.approx(
        np.sqrt(D_M2_S * 2520) * 1000, rel=0.02
    )
    assert change_of(found, "feed from the middle").outcome.time_s == pytest.approx(
        0.25 / D_M2_S, rel=0.02
    )


def test_changes_that_are_enough_come_first():
    flags = [item.enough for item in made().changes]
    assert flags == sorted(flags, reverse=True)
    assert False in flags


def test_a_feed_line_in_the_middle_has_its_resistance_twice():
    # Each side gets half the line: x^2 + 2 (2 a) x = D t.
    found = made(feed_length_m=0.05)
    expected = (0.5**2 + 4 * 0.05 * 0.5) / D_M2_S
    assert change_of(found, "feed from the middle").outcome.time_s == pytest.approx(
        expected, rel=0.04
    )


def test_temperature_optimum_lies_where_thinning_and_gelling_balance():
    # Viscosity with 44 kJ/mol, gel with 55 kJ/mol: colder is better, to the end of the range.
    item = change_of(made(), "temperature")
    assert not item.enough
    assert "best is 15 C" in item.words
    thin = replace(RESIN, viscosity_second=(0.06, 30.0))
    assert "best is 40 C" in change_of(made(resin=thin), "temperature").words
    assert not any(
        i.name == "temperature" for i in made(resin=replace(RESIN, temperature_c=None)).changes
    )


def test_vacuum_cannot_go_past_the_atmosphere():
    item = change_of(made(vacuum=Vacuum(95_000.0)), "better vacuum")
    assert not item.enough
    assert "1003 mbar" in item.words
    weak = make_panel().vacuum
    enough = change_of(made(0.72, vacuum=replace(weak, pressure_pa=95_000.0)), "better vacuum")
    assert enough.needed is None or enough.needed <= 1013.25


def test_no_change_goes_past_what_is_sold_or_can_be_done():
    # 6 m takes 36 times the 1 m: no resin gels that late, no media are that fast.
    found = made(6.0)
    assert not change_of(found, "slower hardener").enough
    assert "about the slowest sold" in change_of(found, "slower hardener").words
    assert not change_of(found, "flow media").enough
    for name, unit_per_factor, most in (
        ("slower hardener", 60.0, 180.0),
        ("flow media", 1.0, 10.0),
    ):
        item = change_of(made(1.5), name)
        assert item.needed is None or item.needed <= most + 1e-9
        furthest = item.furthest.cure * item.furthest.speed * unit_per_factor
        assert furthest == pytest.approx(most)
    assert change_of(found, "shorter run").furthest.length == pytest.approx(0.1 / 6.0)


def test_none_is_enough_is_said_and_two_together_are_named():
    # Short panels leave few ways out: no lines closer than 200 mm, no gel later than 3 times.
    hasty = replace(RESIN, gel_time_s=60.0, gel_second=None)
    found = made(0.3, resin=hasty)
    assert not any(item.enough for item in found.changes)
    assert found.together is not None
    text = "\n".join(forecast_lines(found))
    assert "NONE OF THESE IS ENOUGH ALONE" in text
    assert f"{found.together[0]} and {found.together[1]}" in text
    assert forecast_json(found)["enough_together"] == list(found.together)
    worse = made(0.3, resin=replace(hasty, gel_time_s=3.0))
    assert "No two together are enough" in "\n".join(forecast_lines(worse))


def test_the_doubt_of_the_gel_time_asks_for_more():
    sure, vague = (made(resin=replace(RESIN, gel_sd=sd)) for sd in (0.0, 0.35))
    needs = [change_of(found, "slower hardener").needed for found in (sure, vague)]
    # 36 min of gel time stand for 0.7 x gel; with sd 0.35 gel itself is the tighter limit.
    assert needs[1] > 1.2 * needs[0]
    assert sure.case.gel.relative_sd == 0.0
    wide, narrow = (outcome(found.case, Change()) for found in (vague, sure))
    assert wide.margin_low < narrow.margin_low
    assert wide.margin_high > narrow.margin_high


def words_of(found):
    return {item.name: (item.enough, item.words) for item in found.changes}


def test_the_words_of_changes_that_are_enough():
    # 1 m at D = 1.9e-4 m2/s takes 88 min, at 95 % up to 103 min; working time is 42 min of 60.
    assert words_of(made()) == {
        "slower hardener": (True, "a gel time of at least 147 min"),
        "feed from the middle": (
            True,
            "one line along the middle: 500 mm to either side, about a quarter of the time",
        ),
        "flow media": (
            True,
            "media that makes the stack at least 2.5 times as fast, its lead not counted",
        ),
        "more feed lines": (
            True,
            "one line in the middle will do; lines may be at most 1279 mm apart",
        ),
        "shorter run": (True, "run at most 639 mm"),
        "better vacuum": (
            False,
            "not enough alone: as far as it goes, the margin is 0.51 (1003 mbar is the best here)",
        ),
        "temperature": (False, "not enough alone; best is 15 C, margin 0.52"),
    }


def test_the_words_of_changes_that_are_not():
    told = words_of(made(3.0))
    assert told["more feed lines"] == (
        True,
        "3 lines over 3000 mm will do; lines may be at most 1279 mm apart",
    )
    assert told["slower hardener"] == (
        False,
        "not enough alone: as far as it goes, the margin is 0.16 (180 min to gel is about the "
        "slowest sold)",
    )
    assert told["feed from the middle"] == (
        False,
        "one line along the middle: 1500 mm to either side, about a quarter of the time: not "
        "enough alone, the margin is 0.21",
    )
    assert told["flow media"] == (
        False,
        "not enough alone: usual media make a stack at most about 10 times as fast",
    )


def test_the_words_of_vacuum_and_temperature_that_are_enough():
    weak = change_of(made(0.72, vacuum=Vacuum(70_000.0)), "better vacuum")
    assert weak.words == "a pressure difference of at least 887 mbar"
    assert weak.needed == pytest.approx(886.73, abs=0.05)
    thin = change_of(made(0.7, resin=replace(RESIN, viscosity_second=(0.06, 30.0))), "temperature")
    assert thin.words == "24 C is enough; best is 40 C, margin 2.35"
    rough = change_of(made(resin=replace(RESIN, gel_second=None)), "temperature")
    assert rough.words.endswith("(rough: from the halving rule)")


def test_temperature_starts_from_that_of_the_part():
    cold = made(part=Part(0.7, temperature_c=15.0), resin=replace(
        RESIN, viscosity_second=(0.06, 30.0)))  # fmt: skip
    item = change_of(cold, "temperature")
    assert item.enough
    assert item.needed > 15.0
    assert outcome(cold.case, Change(temperature_c=item.needed)).room == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"cure": 1.7}, {"speed": 1.7}),
        ({"drive": 1.7}, {"cure": 1.7}),
        ({"length": 0.75}, {"speed": 1.7}),
        ({"temperature_c": 15.0}, {"speed": 2.4}),
        ({"speed": 2.4}, {"temperature_c": 15.0}),
    ],
)
def test_two_together_count_both(first, second):
    # One metre needs a factor of 2.5 in all; neither of the two has that alone.
    found = made()
    blank = found.changes[0]
    a, b = (
        replace(blank, name=name, furthest=Change(**change), effort=k)
        for k, (name, change) in enumerate((("first", first), ("second", second)))
    )
    for one in (a, b):
        assert not outcome(found.case, one.furthest).fills
    assert enough_together(found.case, [a, b]) == ("first", "second")


def test_two_changes_of_the_run_are_not_added():
    found = made()
    blank = found.changes[0]
    a, b = (replace(blank, name=n, furthest=Change(length=0.7)) for n in ("first", "second"))
    assert enough_together(found.case, [a, b]) is None


def test_the_pair_of_least_trouble_is_named():
    found = made()
    blank = found.changes[0]
    changes = [
        replace(blank, name=name, furthest=Change(cure=1.7), effort=effort)
        for name, effort in (("hard", 9), ("easy", 1), ("middling", 3))
    ]
    assert enough_together(found.case, changes) == ("easy", "middling")


def test_lead_of_media_counts_in_a_pair():
    found = made()
    blank = found.changes[0]
    a = replace(blank, name="media", furthest=Change(speed=1.7, lag_m=0.0))
    late = replace(a, furthest=Change(speed=1.7, lag_m=0.5))
    b = replace(blank, name="hardener", furthest=Change(cure=1.7))
    assert enough_together(found.case, [a, b]) is not None
    assert enough_together(found.case, [late, b]) is None


def test_units_and_trouble_of_each_change():
    told = {item.name: (item.unit, item.effort) for item in made().changes}
    assert told == {
        "better vacuum": ("mbar", 1),
        "temperature": ("C", 2),
        "slower hardener": ("min", 3),
        "feed from the middle": ("mm", 4),
        "flow media": ("times the speed", 5),
        "more feed lines": ("mm", 6),
        "shorter run": ("mm", 7),
    }


def test_a_part_shorter_than_any_line_spacing_is_not_cut():
    names = {item.name for item in made(0.1).changes}
    assert "shorter run" not in names
    assert "more feed lines" not in names
    assert {"shorter run", "more feed lines"} <= {item.name for item in made(0.11).changes}


def test_each_change_is_what_its_name_says():
    furthest = {item.name: item.furthest for item in made(3.0).changes}
    assert furthest["slower hardener"] == Change(cure=3.0)
    assert furthest["flow media"] == Change(speed=10.0)
    assert furthest["feed from the middle"] == Change(length=0.5, feeds=2.0)
    assert furthest["shorter run"] == Change(length=pytest.approx(0.1 / 3.0))
    assert furthest["more feed lines"] == Change(length=pytest.approx(0.1 / 3.0), feeds=2.0)
    assert furthest["temperature"] == Change(temperature_c=15.0)
    assert furthest["better vacuum"] == Change(drive=pytest.approx((101_325 - 1000) / 95_000))


@pytest.mark.parametrize("length_m", [0.8, 0.85, 0.9, 0.95, 1.05, 1.1])
def test_what_is_asked_for_is_rounded_to_the_safe_side(length_m):
    found = made(length_m)
    gel = change_of(found, "slower hardener")
    asked = float(gel.words.removeprefix("a gel time of at least ").removesuffix(" min"))
    assert gel.needed <= asked < gel.needed + 1.0
    run = change_of(found, "shorter run")
    allowed = float(run.words.removeprefix("run at most ").removesuffix(" mm"))
    assert run.needed - 1.0 < allowed <= run.needed


def test_the_middle_is_likely_before_it_is_sure():
    # Half the run takes a quarter of the time: likely up to twice 692 mm, sure up to 1279 mm.
    assert change_of(made(1.2), "feed from the middle").needed == 600.0
    between = change_of(made(1.33), "feed from the middle")
    assert (between.enough, between.needed, between.likely) == (False, None, 665.0)
    assert change_of(made(1.45), "feed from the middle").likely is None


def test_a_shorter_run_counts_in_a_pair_from_either_side():
    found = made()
    blank = found.changes[0]
    short = replace(blank, name="short", furthest=Change(length=0.75), effort=2)
    quick = replace(blank, name="quick", furthest=Change(speed=1.7), effort=1)
    assert enough_together(found.case, [quick, short]) == ("quick", "short")
    longer = replace(short, furthest=Change(length=1.3))
    assert enough_together(found.case, [quick, longer]) is None
