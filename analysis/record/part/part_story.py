"""What the record of a part tells, in blocks: panel, plan, seen, corrected, next plan.

Tested in tests/analysis/record/part/test_part_record.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.infusion.answer.run_text import BELOW
from analysis.infusion.learn.learnt import WHAT
from analysis.part.answer.part_answer import PartAnswer
from analysis.part.answer.text import rows, sentence, verdict_word
from analysis.record.content import UNKNOWN, TableRow, VerdictWords
from analysis.record.day.day_records import STAGES
from analysis.record.part.next_plan import holds_planned, next_changes
from analysis.record.story.after_sections import demoulded, warning_section
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
from analysis.record.story.filed import Filed
from analysis.record.story.run_sections import gauge_blocks, stamp_blocks
from analysis.record.story.shop_sections import drawdown_section, missing_lines, photos_of
from vision.common.rounding import lapse, minutes, scientific

Content = Mapping[str, Any]


@dataclass(frozen=True)
class PartFiled:
    """What belongs into the record of a part beside its plan and its run.

    Attributes
    ----------
    panel : str
        Folder of the panel that the stack came from; empty where the plan has its own numbers.
    pictures : sequence of (bytes, str)
        Of the run, with captions.
    filed : Filed
        Findings, marks, photos of the day, stamps.
    marked : bytes
        Picture of the marks; empty without any.
    hashes : sequence of (str, str)
        Files it rests on.
    settings : str
        The text of part.toml.
    """

    panel: str = ""
    pictures: Sequence[tuple[bytes, str]] = ()
    filed: Filed = field(default_factory=lambda: Filed(of="part"))
    marked: bytes = b""
    hashes: Sequence[tuple[str, str]] = ()
    settings: str = ""


def part_report(planned: PartAnswer, run: Content, beside: PartFiled, version: str = "") -> Report:
    """Return the record of a part, in the order of the day.

    Parameters
    ----------
    planned : PartAnswer
        The plan, filled.
    run : mapping
        Content of part_run.json.
    beside : PartFiled
    version : str
        Of Wetline.
    """
    filed = beside.filed
    missing = missing_lines(filed, STAGES[:-1])
    sections = [
        _setup(filed),
        _panel(planned, beside.panel),
        Section("Expected: the plan", (Table(_plan_rows(planned)),)),
        drawdown_section(filed),
        _seen(run, beside.pictures, filed),
        _corrected(run),
        demoulded(filed, beside.marked),
        _next(planned, run, beside.panel),
        warning_section([*filed.faults, *run["seen"]["warnings"]], missing),
        Section("Cautions", (Bullets(planned.cautions),), boxed=True),
        Section("Settings (part.toml)", (Code(beside.settings.strip()),) * bool(beside.settings)),
        Section("Files it rests on (SHA-256)", (Hashes(tuple(beside.hashes)),)),
    ]
    start = (run["seen"]["resin_start"] or "")[:10]
    return Report(
        title=planned.name,
        about="Infused part: panel, plan and part" + (f", {start}" if start else ""),
        verdict=_verdict(run),
        numbers=_numbers(run, len(filed.faults)),
        sections=tuple(section for section in sections if section is not None and section.blocks),
        version=version,
    )


def _setup(filed: Filed) -> Section:
    """Who laid it up, of what batch, with the photos of it."""
    rows = (
        TableRow("Done by", filed.day.done_by or UNKNOWN),
        TableRow("Batch", filed.day.batch or UNKNOWN),
    )
    return Section("Set-up", (Table(rows), *photos_of(filed, "stack", "bag")))


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


def _ends(content: Content) -> tuple[str, str]:
    """Return a time to full and its interval, in words."""
    inf = float("inf")
    middle, low, high = (content[f"fill_time_{end}s"] for end in ("", "low_", "high_"))
    ends = [inf if one is None else one for one in (middle, low, high)]
    return minutes(ends[0]), f"95 %: {minutes(ends[1], 'down')} to {minutes(ends[2], 'up')}"


def _times(content: Content) -> str:
    middle, sure = _ends(content)
    return f"{middle} ({sure})"


def _numbers(run: Content, faults: int) -> tuple[str, ...]:
    """Return the few numbers that stand with the verdict, and how many warnings there are."""
    told, learnt = [f"Planned full: {_times(run['planned'])}"], run["learnt"]
    if learnt is not None and not run["seen"]["doubts"]:
        told.append(f"Full, by what was seen: {_times(learnt)}")
    count = len(run["seen"]["warnings"]) + faults
    if count:
        told.append(f"{count} warning{'s' if count > 1 else ''}: see Warnings")
    return tuple(told)


def _panel(planned: PartAnswer, panel: str) -> Section:
    where = f"The stack comes from the panel {panel}." if panel else (
        "No panel: the plan's own numbers."
    )  # fmt: skip
    lines = tuple(
        TableRow(
            f"K of {one.name if number else 'the stack'}",
            f"{scientific(one.k1_m2)} m2 along, {scientific(one.k2_m2)} m2 across",
            f"95 %: {scientific(one.k1_m2 * one.k_factor_low)} to "
            f"{scientific(one.k1_m2 * one.k_factor_high)}; {one.source}",
        )
        for number, one in enumerate(planned.stacks)
    )
    return Section("Panel", (Words(where), Table(lines)))


def _plan_rows(planned: PartAnswer) -> tuple[TableRow, ...]:
    plan = planned.plan
    verdict = TableRow("Verdict", f"{verdict_word(planned)}: {sentence(planned.reason)}")
    feeds = [feed.name or f"feed {k}" for k, feed in enumerate(plan.feeds, 1)]
    vents = [vent.name or f"vent {k}" for k, vent in enumerate(plan.vents, 1)]
    told = [TableRow(row.name, "; ".join([row.text, *row.more])) for row in rows(planned)]
    ports = [TableRow("Feeds", ", ".join(feeds)), TableRow("Vents", ", ".join(vents) or "none")]
    return (verdict, *ports, *told)


def _seen(run: Content, pictures: Sequence[tuple[bytes, str]], filed: Filed) -> Section:
    """What the camera saw against the plan, what was stamped meanwhile, photos of the run."""
    seen, beside = run["seen"], run["beside"]
    lines = [TableRow("Photos", f"{seen['frames_used']} of {seen['frames']} used")]
    shown = (
        *(Picture(data, caption) for data, caption in pictures),
        *stamp_blocks(filed),
        *gauge_blocks(filed),
        *photos_of(filed, "resin open", "end of fill", "other"),
    )
    if beside is None:
        lines.append(TableRow("Not measured", seen["reason"] or "nothing could be measured"))
        return Section("Seen", (Table(tuple(lines)), *shown))
    told = (*seen["doubts"], BELOW) if seen["doubts"] else ()
    lines += [TableRow("Doubt", text) for text in told]
    unsure = "?" if seen["doubts"] else ""
    share = (
        "not known" if seen["wetted_fraction"] is None else f"{100 * seen['wetted_fraction']:.1f} %"
    )
    lines.append(TableRow("Wet", f"{share} after {minutes(seen['last_s'])}"))
    lines.append(TableRow("Not seen", f"{100 * beside['unseen_fraction']:.0f} % of the part"))
    if run["learnt"] is not None:
        lines.append(TableRow("Full", *_ends(run["learnt"])))
    for place in beside["places"]:
        least = "at least " if place["at_least"] else ""
        word = "late" if place["late_s"] > 0 else "early"
        usual = "; ".join(
            f"usually {c['usually']}: look at {c['look_at']}" for c in place["causes"]
        )
        where = f"{place['where']}: x {place['x_mm']:.0f}, y {place['y_mm']:.0f} mm"
        lines.append(TableRow(f"{least}{lapse(place['late_s'])} {word}{unsure}", where, usual))
    for feed in beside["feeds"]:
        if feed.get("text"):
            wet = "" if feed["wet_s"] is None else minutes(feed["wet_s"])
            lines.append(TableRow(f"Feed {feed['name']}", wet, feed["text"]))
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
    rest: list[Words | Table | Bullets] = [Table(tuple(lines), head)]
    if run["seen"]["doubts"]:
        rest.insert(0, Words("From photos that are in doubt: see to the doubt first.", strong=True))
    return Section("Corrected", (*rest, Bullets(tuple(learnt["notes"]))))


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
