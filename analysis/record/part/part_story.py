"""What the record of a part tells, in blocks: panel, plan, seen, corrected, next plan.

Tested in tests/analysis/record/part/test_part_record.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.infusion.learn.learnt import WHAT
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.answer.text import rows, sentence, verdict_word
from analysis.record.content import TableRow, VerdictWords
from analysis.record.part.next_plan import holds_planned, next_changes
from analysis.record.story.blocks import (
    Bullets,
    Code,
    Hashes,
    Picture,
    Report,
    Section,
    Table,
    Words,
)
from vision.common.rounding import lapse, minutes, scientific

Content = Mapping[str, Any]


def part_report(
    planned: PartAnswer,
    run: Content,
    panel: str,
    pictures: Sequence[tuple[bytes, str]],
    hashes: Sequence[tuple[str, str]],
    version: str = "",
) -> Report:
    """Return the record of a part.

    Parameters
    ----------
    planned : PartAnswer
        The plan, filled.
    run : mapping
        Content of part_run.json.
    panel : str
        Folder of the panel that the stack came from; empty where the plan has its own numbers.
    pictures : sequence of (bytes, str)
        Of the run, with captions.
    hashes : sequence of (str, str)
        Files it rests on.
    version : str
        Of Wetline.
    """
    sections = [
        _panel(planned, panel),
        Section("Expected: the plan", (Table(_plan_rows(planned)),)),
        _seen(run, pictures),
        _corrected(run),
        _next(planned, run, panel),
        Section("Cautions", (Bullets(planned.cautions),), boxed=True),
        Section("Files it rests on (SHA-256)", (Hashes(tuple(hashes)),)),
    ]
    start = (run["seen"]["resin_start"] or "")[:10]
    return Report(
        title=planned.name,
        about="Infused part: panel, plan and part" + (f", {start}" if start else ""),
        verdict=_verdict(run),
        numbers=_numbers(run),
        sections=tuple(sections),
        version=version,
    )


def why_nothing_is_told(run: Content) -> str:
    """Return why nothing is handed on to the next plan; empty where it may be."""
    seen = run["seen"]
    if not seen["usable"]:
        return seen["reason"] or "nothing could be measured"
    if seen["doubts"]:
        return f"the photos are in doubt: {seen['doubts'][0]}"
    if run["beside"]["strays"]:
        return "resin came up where no open feed of the plan can have sent it"
    if run["learnt"] is None:
        return run["not_learnt"] or "nothing was learnt from what was seen"
    if not run["learnt"]["explains"]:
        return "the filling with the corrected values does not explain all that was seen"
    return ""


def _verdict(run: Content) -> VerdictWords:
    """Return the time to full against gel, as corrected."""
    why, learnt = why_nothing_is_told(run), run["learnt"]
    look = "See what was seen, and mend it before the next part."
    if why:
        head = "Nothing is handed on to the next plan."
        return VerdictWords("cannot decide", "cannot decide", head, sentence(why), look)
    full, high, gel = learnt["fill_time_s"], learnt["fill_time_high_s"], learnt["gel_time_s"]
    if full is None or gel is None:
        why = "no gel time is stated" if gel is None else "no time to full can be told"
        head = "Nothing can be said against gel."
        return VerdictWords("cannot decide", "cannot decide", head, sentence(why), look)
    reason = f"As corrected it is full at {minutes(full)}, gel is at {minutes(gel, 'down')}."
    use = "Put the lines under Next plan into part.toml, and fill the plan again."
    if full > gel:
        return VerdictWords("gels first", "gels first", "It gels before it is full.", reason, use)
    if run["planned"]["verdict"] == "traps air":
        head = "The plan traps air: wet in time is not yet sound."
        return VerdictWords("cannot decide", "cannot decide", head, reason, look)
    late = high is None or high > (learnt["working_time_s"] or gel)
    word = "tight" if late else "fills"
    head = "Little time is left to gel." if late else "In time, by what was seen."
    return VerdictWords(word, word, head, reason, use)


def _span(middle: float | None, low: float | None, high: float | None) -> str:
    inf = float("inf")
    ends = [inf if one is None else one for one in (middle, low, high)]
    return f"{minutes(ends[0])} (95 %: {minutes(ends[1], 'down')} to {minutes(ends[2], 'up')})"


def _numbers(run: Content) -> tuple[str, ...]:
    told, learnt = [f"Planned full: {_times(run['planned'])}"], run["learnt"]
    if learnt is not None and not run["seen"]["doubts"]:
        told.append(f"Full, by what was seen: {_times(learnt)}")
    return tuple(told)


def _times(content: Content) -> str:
    return _span(*(content[f"fill_time_{end}s"] for end in ("", "low_", "high_")))


def _panel(planned: PartAnswer, panel: str) -> Section:
    where = f"The stack comes from the panel {panel}." if panel else (
        "No panel: the plan's own numbers."
    )  # fmt: skip
    lines = tuple(
        TableRow(
            f"K of {one.name}",
            f"{scientific(one.k1_m2)} m2 along, {scientific(one.k2_m2)} m2 across",
            f"95 %: {scientific(one.k1_m2 * one.k_factor_low)} to "
            f"{scientific(one.k1_m2 * one.k_factor_high)}; {one.source}",
        )
        for one in planned.stacks
    )
    return Section("Panel", (Words(where), Table(lines)))


def _plan_rows(planned: PartAnswer) -> tuple[TableRow, ...]:
    plan = planned.plan
    verdict = TableRow("Verdict", verdict_word(planned), sentence(planned.reason))
    feeds = [feed.name or f"feed {k}" for k, feed in enumerate(plan.feeds, 1)]
    vents = [vent.name or f"vent {k}" for k, vent in enumerate(plan.vents, 1)]
    told = [TableRow(row.name, row.text, "; ".join(row.more)) for row in rows(planned)]
    ports = [TableRow("Feeds", ", ".join(feeds)), TableRow("Vents", ", ".join(vents) or "none")]
    return (verdict, *ports, *told)


def _seen(run: Content, pictures: Sequence[tuple[bytes, str]]) -> Section:
    seen, beside = run["seen"], run["beside"]
    lines = [TableRow("Photos", f"{seen['frames_used']} of {seen['frames']} used")]
    shown = tuple(Picture(data, caption) for data, caption in pictures)
    if beside is None:
        lines.append(TableRow("Not measured", seen["reason"] or "nothing could be measured"))
        return Section("Seen", (Table(tuple(lines)), *shown))
    share = "not known" if seen["wetted_fraction"] is None else f"{seen['wetted_fraction']:.1%}"
    lines.append(TableRow("Wet", f"{share} after {minutes(seen['last_s'])}"))
    lines.append(TableRow("Not seen", f"{beside['unseen_fraction']:.0%} of the part"))
    if run["learnt"] is not None:
        lines.append(TableRow("Full", _times(run["learnt"])))
    for place in beside["places"]:
        least = "at least " if place["at_least"] else ""
        word = "late" if place["late_s"] > 0 else "early"
        usual = "; ".join(
            f"usually {c['usually']}: look at {c['look_at']}" for c in place["causes"]
        )
        where = f"{place['where']} (x {place['x_mm']:.0f}, y {place['y_mm']:.0f} mm)"
        lines.append(TableRow(f"{least}{lapse(place['late_s'])} {word}", where, usual))
    for feed in beside["feeds"]:
        if feed["state"] not in ("as planned", "not seen"):
            wet = "" if feed["wet_s"] is None else f", {minutes(feed['wet_s'])}"
            lines.append(TableRow(f"Feed {feed['name']}", f"{feed['state']}{wet}"))
    lines += [TableRow("Doubt", text) for text in seen["doubts"]]
    lines += [TableRow("Look at", text) for text in seen["warnings"]]
    return Section("Seen", (Table(tuple(lines)), *shown))


def _corrected(run: Content) -> Section:
    learnt = run["learnt"]
    if learnt is None:
        why = run["not_learnt"] or "Nothing: no part was measured"
        return Section("Corrected", (Words(why),))
    lines = []
    for one in learnt["values"]:
        unit, shown = one["unit"], scientific if one["unit"] == "m2" else _plain
        planned = f"{shown(one['planned'])} {unit}"
        if not one["told"]:
            told = ("can't be told from here", one["why"])
        else:
            within = "holds" if holds_planned(one) else "does not hold"
            span = f"95 %: {shown(one['low'])} to {shown(one['high'])}; {within} the planned value"
            told = (f"{shown(one['value'])} {unit}", span)
        name = f"{WHAT[one['kind']]} {one['name']}"
        lines.append(TableRow(name, told[0], f"planned {planned}; {told[1]}"))
    head = ("What", "Learnt", "Planned; 95 %, or why not")
    return Section("Corrected", (Table(tuple(lines), head), Bullets(tuple(learnt["notes"]))))


def _plain(value: float) -> str:
    return f"{value:.3g}"


def _next(planned: PartAnswer, run: Content, panel: str) -> Section:
    why = why_nothing_is_told(run)
    if why:
        text = f"No lines are given: {why}. Look at that first."
        return Section("Next plan", (Words(text, strong=True),))
    blocks: list[Words | Code | Bullets] = []
    values = run["learnt"]["values"]
    for change in next_changes(planned.plan, values, panel):
        blocks += [Words(f"{change.table}: {change.reason}."), Code("\n".join(change.lines))]
    kept = [f"{WHAT[one['kind']]} {one['name']}" for one in values if not one["told"]]
    kept += [
        f"{WHAT[one['kind']]} {one['name']}"
        for one in values
        if one["told"] and one["kind"] != "zone" and holds_planned(one)
    ]
    notes = [f"Stays as planned: {', '.join(kept)}."] if kept else []
    notes.append(
        "A zone that names no K of its own takes that of [stack]: write its planned K into it "
        "before [stack] is changed."
    )
    notes.append(
        "These values are of one part with its viscosity and vacuum as stated; another lay-up "
        "scatters. A second part, or a panel, tells by how much."
    )
    return Section("Next plan", (*blocks, Bullets(tuple(notes))))
