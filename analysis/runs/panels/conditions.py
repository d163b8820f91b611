"""What was not alike between the panels, and whether the comparison takes it out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.panel.records import Panel
from analysis.runs.panels.facts import PanelFacts
from vision.common.rounding import rounded

SAME_C = 1.5
"""Temperatures nearer than this count as alike (common practice, no source)."""
SAME_SHARE = 0.02
"""Other values nearer than this share count as alike."""
SAME_VISCOSITY = 0.005
"""Viscosities nearer than this share are most likely one number written twice."""


@dataclass(frozen=True)
class Unlike:
    """One thing that was not alike: what, the value of each panel in words, and what of it."""

    what: str
    values: Mapping[str, str]
    remark: str

    @property
    def told(self) -> str:
        """What each panel states, in one line."""
        alike: dict[str, list[str]] = {}
        for label, value in self.values.items():
            alike.setdefault(value, []).append(label)
        told = "; ".join(f"{_together(labels)} {value}" for value, labels in alike.items())
        return f"{self.what}: {told}."

    @property
    def line(self) -> str:
        """It with what it does to the comparison, in one line."""
        return f"{self.told} {self.remark}"


def _together(labels: list[str]) -> str:
    """Write labels in a row; three or more that follow each other become first to last."""
    if len(labels) < 3:
        return " and ".join(labels)
    first, last = labels[0], labels[-1]
    return f"{first} to {last}" if _in_a_row(labels) else ", ".join(labels)


def _in_a_row(labels: list[str]) -> bool:
    heads = {label.rstrip("0123456789") for label in labels}
    numbers = [int(label[len(label.rstrip("0123456789")) :] or 0) for label in labels]
    return len(heads) == 1 and numbers == list(range(numbers[0], numbers[0] + len(numbers)))


FEEDS = {"edge": "along an edge", "point": "at a point"}
TAKEN_OUT = (
    "Taken out in K and in the time with like resin and vacuum; not in the time as run and the "
    "margin."
)


def unlike_conditions(panels: Mapping[str, PanelFacts]) -> list[Unlike]:
    """Find what was not alike.

    Parameters
    ----------
    panels : mapping of str to PanelFacts
        By label.

    Returns
    -------
    list of Unlike
        Empty where all that is stated is alike.
    """
    told = {label: facts.answer.panel for label, facts in panels.items()}
    out = [
        _numbers("Viscosity", "mPa·s", told, _viscosity, TAKEN_OUT),
        _temperature(told),
        _numbers("Vacuum (pressure difference)", "mbar", told, _vacuum, TAKEN_OUT),
        _numbers("Gel time", "min", told, _gel, "It counts in each margin, and in no K or time."),
        _numbers(
            "Flow length of the part",
            "mm",
            told,
            _run,
            "All are compared at one length.",
        ),
        _words(
            "Resin",
            {label: facts.resin_name for label, facts in panels.items()},
            "Taken out only as far as the stated viscosity says.",
        ),
        _words(
            "Batch",
            {label: facts.batch for label, facts in panels.items()},
            "Not taken out: batches of resin differ in viscosity by about 7 % (common practice).",
        ),
        _words(
            "Feed",
            {
                label: "along an edge" if p.flow == "edge" else "at a point"
                for label, p in told.items()
            },
            "Each K is by its own law; a point feed averages over both directions of the cloth.",
        ),
        _words(
            "Front",
            {label: "by pen" if f.seen_by_pen else "by camera" for label, f in panels.items()},
            "Pen marks show neither how even the front was nor dry spots.",
        ),
        _missing(told),
    ]
    return [one for one in out if one is not None]


def unlike_stacks(panels: Mapping[str, PanelFacts]) -> list[Unlike]:
    """Find how the stacks were not alike, where all runs should be of one set-up.

    Parameters
    ----------
    panels : mapping of str to PanelFacts
        By label.

    Returns
    -------
    list of Unlike
        Empty where all that is stated is alike.
    """
    told = {label: facts.answer.panel for label, facts in panels.items()}
    names = {label: str(facts.stack.get("name", "")) for label, facts in panels.items()}
    other = "Another stack is another set-up: nothing of it is taken out."
    out = [
        _words("Stack", names, other),
        _numbers("Porosity of the stack", "%", told, _porosity, other),
    ]
    return [one for one in out if one is not None]


def _porosity(panel: Panel) -> float | None:
    porosity = panel.stack.porosity
    return None if porosity is None else porosity * 100.0


def _viscosity(panel: Panel) -> float | None:
    log = panel.resin.viscosity_log
    value = panel.resin.viscosity_pa_s if log is None else float(log.value[0])
    return None if value is None else value * 1000.0


def _vacuum(panel: Panel) -> float | None:
    return None if panel.vacuum.pressure_pa is None else panel.vacuum.pressure_pa / 100.0


def _gel(panel: Panel) -> float | None:
    return None if panel.resin.gel_time_s is None else panel.resin.gel_time_s / 60.0


def _run(panel: Panel) -> float | None:
    part = panel.part
    return None if part is None or not part.length_stated else part.flow_length_m * 1000.0


def _numbers(
    what: str,
    unit: str,
    panels: Mapping[str, Panel],
    read: Callable[[Panel], float | None],
    remark: str,
) -> Unlike | None:
    known = {label: value for label, p in panels.items() if (value := read(p)) is not None}
    if len(known) < 2 or max(known.values()) <= min(known.values()) * (1.0 + SAME_SHARE):
        return None
    values = {
        label: "not stated" if label not in known else f"{rounded(known[label])} {unit}"
        for label in panels
    }
    return Unlike(what, values, remark)


def _temperature(panels: Mapping[str, Panel]) -> Unlike | None:
    warm = {label: p.resin.temperature_c for label, p in panels.items()}
    known = {label: value for label, value in warm.items() if value is not None}
    if len(known) < 2 or max(known.values()) - min(known.values()) <= SAME_C:
        return None
    shown = {
        label: f"{rounded(v)} °C" if v is not None else "not stated" for label, v in warm.items()
    }
    thick = [v for label in known if (v := _viscosity(panels[label])) is not None]
    if len(thick) == len(known) and max(thick) <= min(thick) * (1.0 + SAME_VISCOSITY):
        return Unlike(
            "Temperature",
            shown,
            "LOOK AT THIS: the stated viscosity is the same at all of them, which is not likely. "
            "Measure it at each temperature; else K and times are off by about the difference.",
        )
    return Unlike(
        "Temperature", shown, "Taken out as far as the stated viscosity follows it, else not."
    )


def _words(what: str, values: Mapping[str, str], remark: str) -> Unlike | None:
    if len({value.strip().lower() for value in values.values()}) < 2:
        return None
    return Unlike(what, {label: value or "not stated" for label, value in values.items()}, remark)


def _missing(panels: Mapping[str, Panel]) -> Unlike | None:
    """Find the panels that state no temperature."""
    none = [label for label, panel in panels.items() if panel.resin.temperature_c is None]
    if not none or len(panels) < 2:
        return None
    return Unlike(
        "Temperature not stated",
        dict.fromkeys(none, "[resin] temperature_c is missing"),
        "If the shop was not alike warm, the viscosity was not alike either.",
    )
