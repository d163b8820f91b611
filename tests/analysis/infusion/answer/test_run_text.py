"""What the terminal says of a run."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.infusion.answer.part_run import answer_part_run
from analysis.infusion.answer.run_job import learnt_from, with_ahead
from analysis.infusion.answer.run_json import run_json
from analysis.infusion.answer.run_text import (
    ADVICE,
    answer_words,
    feed_words,
    headline,
    learnt_text,
    lines,
)
from analysis.infusion.beside.sources import FeedSeen
from analysis.infusion.learn.learnt import (
    EARLY,
    LATE,
    SHUT,
    UNSEEN,
    WORKS,
    LearntValue,
    Opening,
)
from analysis.infusion.seen.by_hand import ByHand
from tests.made_up.infusion_answers import even_run, late_run, unusable_run
from tests.made_up.part_beside import LINE, filled, planned

TWO = LINE + '\n\n[[feed]]\nname = "right line"\nline_mm = [[400, 0], [400, 300]]'


OPENS_S, LAST_S = 1500.0, 1700.0
"""The front of the left line alone is at the right line, 400 mm off, by about 1,320 s."""


@pytest.mark.parametrize(
    ("factor", "word"), [(1.0, "AS PLANNED"), (1.6, "SLOWER THAN"), (0.6, "QUICKER THAN")]
)
def test_the_headline_says_how_it_goes(tmp_path, factor, word):
    assert word in headline(even_run(tmp_path, factor=factor))


def test_a_place_has_where_when_and_what_usually_does_it(tmp_path):
    text = "\n".join(lines(late_run(tmp_path)))
    assert "UNEVEN" in text
    assert "5.0 min +- " in text
    assert "at the bottom right" in text
    assert "usually" in text
    assert "look at" in text
    assert ADVICE[0] in text


def test_a_doubt_comes_before_all_else(tmp_path):
    run = late_run(tmp_path)
    run = replace(run, seen=replace(run.seen, doubts=("the light can be read in two ways",)))
    assert "IN DOUBT" in headline(run)
    assert "the light can be read in two ways" in headline(run)
    text = lines(run)
    places = [k for k, line in enumerate(text) if "late" in line[:12]]
    doubts = [k for k, line in enumerate(text) if line.startswith("Doubt")]
    assert places
    assert max(doubts) < min(places)
    assert all(text[k].startswith(f"{n} late?") for n, k in enumerate(places, 1))
    assert "rests on photos that are in doubt" in text[max(doubts)]
    assert not any("late?" in line or "in doubt" in line for line in lines(late_run(tmp_path)))


def test_a_time_to_full_that_the_plan_does_not_explain_says_so_itself(tmp_path):
    run = learnt_from(even_run(tmp_path))
    (full,) = (line for line in lines(run) if line.startswith("Full"))
    assert "not to be relied on" not in full
    unsound = replace(run.learnt, notes=("look for a leak",), relied_on=False)
    (full,) = (line for line in lines(replace(run, learnt=unsound)) if line.startswith("Full"))
    assert "not to be relied on" in full
    word, why = answer_words(replace(run, learnt=unsound))
    assert (word, "does not explain what was seen" in why) == ("LOOK FIRST", True)
    assert answer_words(run)[0] != "LOOK FIRST"


def test_a_pace_that_is_the_plans_is_not_called_zero_percent_off(tmp_path):
    (even,) = (line for line in lines(even_run(tmp_path)) if line.startswith("Pace"))
    assert "resin takes as long as planned" in even
    (slow,) = (line for line in lines(even_run(tmp_path, factor=1.6)) if line.startswith("Pace"))
    assert "% more time than planned" in slow


def test_a_photo_left_out_is_told_once(tmp_path):
    run = even_run(tmp_path)
    run = replace(run, notes=("b.jpg: skipped, a copy of a.jpg", "times are those of the photos"))
    text = "\n".join(lines(run))
    assert "skipped" not in text
    assert "times are those of the photos" in text


def test_what_was_understood_of_a_unit_is_said_with_the_run(tmp_path):
    run = even_run(tmp_path)
    said = "[resin] viscosity_mpas = '0.22 Pa s': 220 mPa s"
    run = replace(run, planned=replace(run.planned, notes=(said,)))
    assert any(line.startswith("Note") and line.endswith(said) for line in lines(run))


def test_a_feed_never_seen_to_wet_is_named_with_the_mend(tmp_path):
    job, answer = planned(tmp_path, feed=TWO)
    alone = replace(job.plan, feeds=job.plan.feeds[:1])
    seen, _ = filled(job, answer, alone, last_s=1.5 * answer.vented_time_s)
    run = answer_part_run(job, answer, seen)
    text = "\n".join(lines(run))
    assert "right line was planned to be wet by" in text
    assert "see its clamp, hose and tap" in text
    # Told once where it is seen that no resin came from it.
    shut = Opening("right line", 1, 0.0, False, 500.0, SHUT, np.inf, 600.0, np.inf)
    text = "\n".join(lines(replace(run, openings=(shut,))))
    assert "no resin seems to have come from it" in text
    assert "right line was planned to be wet by" not in text


def test_a_later_feed_that_waits_for_the_front_is_not_blamed(tmp_path):
    job, answer = planned(tmp_path, feed=TWO + '\nopens_when = "wet"')
    seen, _ = filled(job, answer, factor=2.0)
    text = "\n".join(lines(answer_part_run(job, answer, seen)))
    assert "right line was reached by the front at" in text
    assert "shut or blocked" not in text


@pytest.mark.parametrize("state", ["late", "early", "never wet"])
def test_when_to_open_a_feed_is_not_said_of_one_that_resin_comes_from(state):
    feed = FeedSeen("second line", 600.0, 900.0, state, by_front=True)
    said = feed_words(feed)
    assert said.startswith(feed_words(feed, works=True) + ": ")
    assert any(word in said for word in ("open it no sooner", "could open sooner", "keep it shut"))


@pytest.mark.parametrize(
    ("state", "noted", "said"),
    [
        (EARLY, False, "is open since 20 min by the plan, but resin seems to come from it since"),
        (LATE, True, "was noted as open at 20 min, but resin seems to come from it only since"),
        (SHUT, True, "no resin seems to have come from it: the front went on as if it were shut"),
        (SHUT, False, "is open since 20 min by the plan, but no resin seems to have come from it"),
        (UNSEEN, False, "whether resin comes from it cannot be seen from here"),
        (WORKS, True, ""),
    ],
)
def test_a_feed_that_opened_otherwise_is_said_with_when(tmp_path, state, noted, said):
    one = Opening("second line", 1, 1200.0, noted, 500.0, state, 720.0, 650.0, 800.0)
    run = replace(even_run(tmp_path), openings=(one,))
    text = " ".join(" ".join(lines(run)).split())
    assert said in text
    assert ("second line" in text) == bool(said)
    assert ("about 12 min (11 min to 13 min)" in text) == (state in (EARLY, LATE))
    assert ("put the note right" in text) == (noted and state == LATE)
    assert run_json(run)["openings"][0]["state"] == state
    assert (run_json(run)["openings"][0]["noted"]) is noted


def test_nothing_measured_is_one_line_with_the_mend(tmp_path):
    (line,) = lines(unusable_run(tmp_path))
    assert "NOT MEASURED" in line
    assert line.endswith("move what stands before it.")


def test_a_part_that_is_not_full_says_what_is_still_to_come(tmp_path):
    job, answer = planned(tmp_path, feed=TWO + '\nopens_when = "wet"')
    seen, _ = filled(job, answer, last_s=0.3 * answer.fill_time_s)
    run = with_ahead(answer_part_run(job, answer, seen), ByHand())
    text = "\n".join(lines(run))
    assert "by the plan alone, at the pace so far, full at" in text
    assert "right line: not yet: 300 mm of it still dry" in text
    assert run_json(run)["ahead"]["feeds"][0]["state"] == "not yet"
    opened = with_ahead(answer_part_run(job, answer, seen), ByHand((("right line", 1.0),)))
    assert "right line: not yet" not in "\n".join(lines(opened))


@pytest.mark.parametrize(
    ("opened", "when", "said", "state"),
    [
        (True, 'opens_when = "wet"', "but resin seems to come from it", "seems open"),
        (True, f"opens_at_s = {OPENS_S}", "but resin seems to come from it", "seems open"),
        (False, 'opens_when = "wet"', "the front is past all of it: open it", "open it"),
        (False, f"opens_at_s = {OPENS_S}", "by the plan it is since 25 min", "open by the plan"),
    ],
)
def test_a_feed_that_is_or_may_be_open_is_not_told_to_be_opened(
    tmp_path, opened, when, said, state
):
    job, answer = planned(tmp_path, feed=f"{TWO}\n{when}")
    one, two = job.plan.feeds
    two = replace(two, opens_when_wet=False, opens_at_s=OPENS_S)
    truth = replace(job.plan, feeds=(one, two) if opened else (one,))
    seen, _ = filled(job, answer, plan=truth, last_s=LAST_S)
    run = with_ahead(answer_part_run(job, answer, seen), ByHand())
    text = " ".join("\n".join(lines(run)).split())
    assert said in text
    assert ("open it" in text) == (state == "open it")
    assert ("nobody noted it as open" in text) == (state != "open it")
    assert run_json(run)["ahead"]["feeds"][0]["state"] == state


def test_a_feed_with_resin_before_the_front_came_is_not_told_to_be_opened(tmp_path):
    job, answer = planned(tmp_path, feed=TWO + '\nopens_when = "wet"')
    two = replace(job.plan.feeds[1], opens_when_wet=False, opens_at_s=300.0)
    truth = replace(job.plan, feeds=(job.plan.feeds[0], two))
    seen, _ = filled(job, answer, plan=truth, last_s=600.0)
    (feed,) = with_ahead(answer_part_run(job, answer, seen), ByHand()).ahead.feeds
    assert feed.state == "seems open"
    assert "if it is, write when it opened into part.toml; if not, see its clamp" in feed.text


def test_a_full_part_says_nothing_of_that(tmp_path):
    run = with_ahead(even_run(tmp_path), ByHand())
    assert (run.ahead is None) == (run.wet_share > 0.998)
    assert ("at the pace so far" in "\n".join(lines(run))) == (run.ahead is not None)


@pytest.mark.parametrize(
    ("value", "said"), [(8.49e-7, ""), (0.004, ""), (0.31, "; forecast with 0.31 mm")]
)
def test_a_resistance_that_nobody_could_measure_is_none(value, said):
    feed = LearntValue("feed", "line", 0.0, value, 0.0, 1.0, "mm", False, "too little was seen")
    assert learnt_text(feed).endswith(f"can't be told from here: too little was seen{said}")
