"""A run on a part in plain words: rows that terminal and page are both drawn from."""

from __future__ import annotations

import numpy as np

from analysis.infusion.ahead.next_feed import AT_WORK
from analysis.infusion.answer.part_run import InfusionAnswer
from analysis.infusion.beside.causes import Cause
from analysis.infusion.beside.compare_plan import Beside, Patch
from analysis.infusion.beside.sources import FeedSeen
from analysis.infusion.learn.learnt import (
    EARLY,
    LATE,
    SHUT,
    UNSEEN,
    WHAT,
    LearntValue,
    Opening,
)
from analysis.infusion.outlook.words import ahead_rows
from analysis.part.answer.text import NAME_WIDTH, Row, sentence
from vision.common.rounding import lapse, minutes, scientific
from vision.frames.reader import SKIPPED

MOST_PLACES = 6
BELOW = (
    "every place, value and time below rests on photos that are in doubt: see to that first, "
    "then run again"
)
ADVICE = (
    "What usually does it is a first thing to look at, not a finding: look before you change "
    "anything, and leave resin, vacuum and heat to those who are trained for them.",
)

LEAST_MM = 0.005
"""Below this a width or a resistance is written as none: nobody could measure it."""
ROUGH_SHARE = 0.02
"""Half-width from which on the wet share is told as an interval."""


def headline(run: InfusionAnswer) -> str:
    """Return what was found in one line."""
    return f"{run.planned.name}: {'. '.join(answer_words(run))}"


def answer_words(run: InfusionAnswer) -> tuple[str, str]:
    """Return what was found in a word or two, and what that rests on."""
    found = run.beside
    if found is None:
        return "NOT MEASURED", sentence(run.seen.reason or "nothing could be measured")
    share = f"{_wet(run)} after {minutes(run.seen.last_s)}"
    if run.seen.doubts:
        return "IN DOUBT", f"{share}; {run.seen.doubts[0]}"
    if found.strays:
        return "LOOK FIRST", f"{share}; resin came up where no open feed can have sent it"
    if run.learnt is not None and not run.learnt.relied_on:
        return "LOOK FIRST", f"{share}; the plan does not explain what was seen: see the note"
    if found.pace_beyond_plan:
        word = "slower" if found.late.factor > 1 else "quicker"
        return f"{word.upper()} THAN PLANNED", share
    if found.patches:
        return "UNEVEN", f"{share}; {_count(len(found.patches))} unlike the plan"
    if not found.late.paced:
        return "TOO LITTLE SEEN to compare", share
    if not found.late.agreed:
        return "CLOSE TO THE PLAN so far", f"{share}; the places do not agree on one pace"
    return "AS PLANNED so far", share


def _wet(run: InfusionAnswer) -> str:
    """Write the wet share, and where it is told only roughly, between what it lies."""
    half = 1.96 * float(run.seen.wetted_sd[-1])
    if not half >= ROUGH_SHARE:
        return f"{100 * run.wet_share:.0f} % wet"
    low, high = max(run.wet_share - half, 0.0), min(run.wet_share + half, 1.0)
    seen = f"{100 * run.wet_share:.0f} % of what was seen wet"
    return f"{seen} (of the whole part {100 * low:.0f} to {100 * high:.0f} %)"


def _count(places: int) -> str:
    return "one place is" if places == 1 else f"{places} places are"


def rows(run: InfusionAnswer) -> list[Row]:
    """Return what was found, row by row."""
    found = run.beside
    if found is None:
        return []
    doubts = run.seen.doubts
    told = (*doubts, BELOW) if doubts else ()
    out = [_seen(run, found), *(Row("Doubt", text) for text in told), _pace(found)]
    out += [_usually(cause) for cause in found.whole]
    for k, patch in enumerate(found.patches[:MOST_PLACES], start=1):
        out.append(_place(k, patch, bool(doubts)))
    if len(found.patches) > MOST_PLACES:
        out.append(Row("More places", f"{len(found.patches) - MOST_PLACES}, in part_run.json"))
    out += _feeds(run, found)
    out += [Row("Feed", *opening_words(one)) for one in run.openings if opening_words(one)[0]]
    for stray in found.strays:
        text = (
            f"{stray.area_mm2 / 100:.0f} cm2 at x {stray.x_mm:.0f} mm, y {stray.y_mm:.0f} mm "
            f"({stray.where}) from {minutes(stray.time_s)} on, apart from all that open feeds "
            "had wetted"
        )
        mend = "see whether a feed was opened that the plan does not have, or something leaks"
        out.append(Row("No feed there", text, (f"{mend}; then put it into part.toml",)))
    out += _resin(run)
    out += _learnt(run)
    out += [] if run.ahead is None else ahead_rows(run.ahead)
    return [*out, *(Row("Look at", text) for text in run.seen.warnings), *_notes(run)]


def _notes(run: InfusionAnswer) -> list[Row]:
    told = [*run.planned.notes, *(text for text in run.notes if SKIPPED not in text)]
    return [Row("Note", text) for text in dict.fromkeys(told)]


def _seen(run: InfusionAnswer, found: Beside) -> Row:
    used = f"{int(run.seen.used.sum())} of {len(run.seen.frames)} photos used"
    return Row(
        "Seen",
        f"{used}; {100 * found.unseen_share:.0f} % of the part not seen, "
        f"{100 * found.compared_share:.0f} % compared with the plan",
    )


def _pace(found: Beside) -> Row:
    late = found.late
    if not late.paced:
        return Row("Pace", "can't be told from here: too little of what should be wet was seen")
    span = f"{100 * (late.plan_low - 1):.0f} to +{100 * (late.plan_high - 1):.0f} %"
    if not late.agreed:
        return Row("Pace", f"the places do not agree on one; the plan's own doubt is {span}")
    share = 100 * (late.factor - 1)
    word = "more" if share > 0 else "less"
    far = "as long as" if abs(share) < 0.5 else f"{abs(share):.0f} % {word} time than"
    out = "beyond" if found.pace_beyond_plan else "within"
    return Row(
        "Pace",
        f"resin takes {far} planned, {out} the plan's own doubt of {span}",
    )


def _usually(cause: Cause) -> Row:
    return Row("Usually", f"{cause.name}: {cause.why}", (f"look at {cause.look}",))


def _place(number: int, patch: Patch, in_doubt: bool) -> Row:
    word = ("late" if patch.late_s > 0 else "early") + ("?" if in_doubt else "")
    least = "at least " if patch.at_least else ""
    time = lapse(patch.late_s)
    sure = f" +- {lapse(2 * patch.late_sd_s)}" if not patch.at_least else ""
    most = f", {lapse(patch.most_s)} at most" if not patch.at_least else ""
    doubt = "" if patch.beyond_plan else "; no more than the plan's own doubt of the whole part"
    causes = tuple(
        f"usually {cause.name}: {cause.why}; look at {cause.look}" for cause in patch.causes
    )
    return Row(
        f"{number} {word}",
        f"{patch.where} (x {patch.x_mm:.0f}, y {patch.y_mm:.0f} mm), {patch.area_mm2 / 100:.0f} "
        f"cm2: {least}{time}{sure}{most}{doubt}",
        causes,
    )


def _feeds(run: InfusionAnswer, found: Beside) -> list[Row]:
    """Return what is to be said of each feed, but of those that something else names already."""
    said, works = run.seen.warnings, at_work(run)
    other = {one.name for one in run.openings if one.other}
    left = [feed for feed in found.feeds if feed.name not in other]
    told = [feed for feed in left if not any(repr(feed.name) in line for line in said)]
    texts = {one.name: feed_words(one, one.name in works) for one in told}
    return [Row("Feed", f"{name} {text}") for name, text in texts.items() if text]


def at_work(run: InfusionAnswer) -> frozenset[str]:
    """Return the later feeds that resin seems to have come from though nobody noted them."""
    ahead = () if run.ahead is None else run.ahead.feeds
    seen = [one.name for one in run.openings if one.at_work and not one.noted]
    return frozenset([*seen, *(feed.name for feed in ahead if feed.state == AT_WORK)])


def opening_words(one: Opening) -> tuple[str, tuple[str, ...]]:
    """Return what is to be said of when a feed opened, and what to do; empty where it is as stated.

    Examples
    --------
    >>> opening_words(Opening("line 2", 1, 600.0, True, 400.0, "as stated", 600.0))[0]
    ''
    """
    word = f"was noted as open at {minutes(one.said_s)}"
    word = word if one.noted else f"is open since {minutes(one.said_s)} by the plan"
    mend = "the note" if one.noted else "part.toml"
    if one.state == SHUT:
        return (
            f"{one.name} {word}, but no resin seems to have come from it: the front went on as if "
            "it were shut or blocked",
            (
                "see its clamp, hose and tap, and the resin in its pot; what is learnt and "
                "forecast takes it as shut",
            ),
        )
    if one.state in (EARLY, LATE):
        how = "since" if one.state == EARLY else "only since"
        span = f"{minutes(one.low_s)} to {minutes(one.high_s)}"
        return (
            f"{one.name} {word}, but resin seems to come from it {how} about "
            f"{minutes(one.since_s)} ({span}), by how the front went on from it",
            (f"see when it was opened and put {mend} right; what is learnt takes the time seen",),
        )
    if one.state == UNSEEN:
        text = f"{one.name} {word}: whether resin comes from it cannot be seen from here"
        return f"{text}, for the front was past it", ("look at its hose and pot",)
    return "", ()


def feed_words(feed: FeedSeen, works: bool = False) -> str:
    """Return what is to be said of a feed, after its name; empty where it went as planned.

    When to open one is not said of a feed that resin seems to come from (`works`).
    """
    mends = {
        "never wet": "was planned to be wet by {plan} and was never seen to wet: see its clamp, "
        "hose and tap; if it was left out, take it out of part.toml",
        "late": "wetted at {wet}, planned {plan}: see its clamp, hose and tap",
        "early": "wetted at {wet}, planned {plan}: see when it was opened",
        "not seen": "was out of sight or hidden: nothing is said of it",
    }
    by_front = {
        "late": "was reached by the front at {wet}, planned {plan}: open it no sooner",
        "early": "was reached by the front at {wet}, planned {plan}: it could open sooner",
        "never wet": "was not reached by the front, planned at {plan}: keep it shut till it is",
    }
    text = mends.get(feed.state, "")
    if feed.by_front:
        text = by_front.get(feed.state, text)
        text = text.rpartition(": ")[0] if works and feed.state in by_front else text
    return text.format(plan=minutes(feed.planned_s), wet=minutes(feed.wet_s)) if text else ""


def _resin(run: InfusionAnswer) -> list[Row]:
    if run.resin is None or not len(run.resin.resin_in_kg):
        return []
    mass, sd = float(run.resin.resin_in_kg[-1]), float(run.resin.resin_in_sd_kg[-1])
    plan = float(run.resin.planned_kg[-1])
    if not np.isfinite(mass):
        return []
    text = f"{mass:.3g} kg (95 %: {max(mass - 1.96 * sd, 0):.3g} to {mass + 1.96 * sd:.3g}) in"
    return [
        Row(
            "Resin",
            f"{text} the wet part, by its area, thickness and porosity; lines, media and the pot's "
            f"heel not counted; planned {plan:.3g} kg by then",
        )
    ]


def _learnt(run: InfusionAnswer) -> list[Row]:
    """Return the plan's values as corrected, and when the part is full with them."""
    if run.learnt is None:
        return [Row("Learnt", run.not_learnt)] if run.not_learnt else []
    out = []
    out += [Row("Learnt", learnt_text(one)) for one in run.learnt.values]
    low, high = minutes(run.learnt.fill_low_s, "down"), minutes(run.learnt.fill_high_s, "up")
    gel = run.learnt.gel_s
    late = "; gels first" if gel is not None and run.learnt.fill_time_s > gel else ""
    late = late or ("; may gel first" if gel is not None and run.learnt.fill_high_s > gel else "")
    weak = "" if run.learnt.relied_on else "; not to be relied on: see the note"
    out.append(
        Row("Full", f"{minutes(run.learnt.fill_time_s)} (95 %: {low} to {high}){late}{weak}")
    )
    return [*out, *(Row("Note", text) for text in run.learnt.notes)]


def learnt_text(one: LearntValue) -> str:
    """Write one number of the plan as corrected, or why it can't be told."""
    return f"{WHAT[one.kind]} {one.name}: {_value(one)}"


def _value(one: LearntValue) -> str:
    """Return a learnt number with its interval, and which part of that the picture leaves."""
    shown = scientific if one.unit == "m2" else _plain
    if not one.told:
        same = shown(one.value) == shown(one.planned)
        moved = "" if same else f"; forecast with {shown(one.value)} {one.unit}"
        return f"can't be told from here: {one.why}{moved}"
    text = f"{shown(one.value)} {one.unit} (95 %: {shown(one.low)} to {shown(one.high)}"
    if (one.low, one.high) != (one.seen_low, one.seen_high):
        seen = f"{shown(one.seen_low)} to {shown(one.seen_high)}"
        text += f"; by the picture alone {seen}, the rest is viscosity and vacuum"
    return f"{text}), planned {shown(one.planned)}"


def _plain(value: float) -> str:
    """Write millimetres; what nobody could measure is none."""
    return f"{value:.3g}" if abs(value) >= LEAST_MM else "0"


def lines(run: InfusionAnswer) -> list[str]:
    """Return the answer as the terminal shows it."""
    out = [headline(run)]
    cautions = ADVICE if run.beside is not None else ()
    for row in [*rows(run), *(Row("Caution", text) for text in cautions)]:
        out.append(f"{row.name:<{NAME_WIDTH}} {row.text}")
        out += [f"  {text}" for text in row.more]
    return out
