"""Set-ups: panels built alike stand together; their numbers at one length and like conditions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.fit.permeability import PermeabilityFit
from analysis.forecast.panel_answer import PanelAnswer, describe
from analysis.panel.records import Panel, Part
from analysis.runs.compare.differences import Estimate, Mean, estimate, mean_of
from analysis.runs.panels.facts import PanelFacts
from vision.errors import WetlineError

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class PanelNumbers:
    """One panel's numbers for the comparison; None where not known.

    Attributes
    ----------
    k : Estimate or None
        Permeability, m2.
    time : Estimate or None
        Fill time of the common length as run, s.
    time_alike : Estimate or None
        The same with the resin and the vacuum of the first panel.
    margin : Estimate or None
        Working time over fill time at the common length, as run.
    at_length : PanelAnswer
        The panel's answer for the common length.
    """

    k: Estimate | None
    time: Estimate | None
    time_alike: Estimate | None
    margin: Estimate | None
    at_length: PanelAnswer


@dataclass(frozen=True)
class Setup:
    """Panels built alike.

    Attributes
    ----------
    letter : str
    panels : tuple of PanelFacts
    numbers : tuple of PanelNumbers
        One for each panel.
    scatter : float
        Relative sd between like panels that the means count with.
    """

    letter: str
    panels: tuple[PanelFacts, ...]
    numbers: tuple[PanelNumbers, ...]
    scatter: float

    @property
    def name(self) -> str:
        """The panel's name, or what the panels have in common."""
        if len(self.panels) == 1:
            return self.panels[0].name
        return f"{self.panels[0].stack['name']} ({len(self.panels)} panels)"

    @property
    def fair(self) -> tuple[PanelFacts, ...]:
        """The panels that count."""
        return tuple(panel for panel in self.panels if not panel.left_out)

    @property
    def left_out(self) -> str:
        """Why none of the panels counts; empty where one does."""
        return "" if self.fair else self.panels[0].left_out

    def labels(self) -> tuple[str, ...]:
        """Return a label for each panel: the letter, with a number where there are more."""
        if len(self.panels) == 1:
            return (self.letter,)
        return tuple(f"{self.letter}{i}" for i in range(1, len(self.panels) + 1))

    def estimates(self, quantity: str) -> list[Estimate]:
        """Return what the fair panels say of ``k``, ``time``, ``time_alike`` or ``margin``."""
        pairs = zip(self.panels, self.numbers, strict=True)
        told = [getattr(numbers, quantity) for panel, numbers in pairs if not panel.left_out]
        return [one for one in told if one is not None]

    def mean(self, quantity: str) -> Mean | None:
        """Return the mean of the fair panels; None where none of them knows it."""
        told = self.estimates(quantity)
        return mean_of(told, self.scatter) if told else None

    def uptake(self) -> tuple[float, bool] | None:
        """Return resin per area, kg/m2, and whether all of it was weighed; None if not known."""
        known = [panel.uptake for panel in self.fair if panel.uptake is not None]
        weighed = [one for one in known if one.weighed]
        if not known:
            return None
        chosen = weighed or known
        return sum(one.kg_m2 for one in chosen) / len(chosen), bool(weighed)

    def grade(self) -> float | None:
        """Return the mean grade of the surface, 1 best; None where none was filed."""
        told = [p.surface.grade for p in self.fair if p.surface and p.surface.grade is not None]
        return sum(told) / len(told) if told else None


def group(
    panels: Sequence[PanelFacts], numbers: Sequence[PanelNumbers], scatter: float
) -> tuple[Setup, ...]:
    """Group panels into set-ups, in the order given.

    Raises
    ------
    WetlineError
        If there are more set-ups than letters.
    """
    rooms: dict[str, list[int]] = {}
    for i, panel in enumerate(panels):
        rooms.setdefault(panel.build or f"panel {i}", []).append(i)
    if len(rooms) > len(LETTERS):
        raise WetlineError(f"{len(rooms)} set-ups: compare at most {len(LETTERS)} at once")
    return tuple(
        Setup(letter, tuple(panels[i] for i in places), tuple(numbers[i] for i in places), scatter)
        for letter, places in zip(LETTERS, rooms.values(), strict=False)
    )


def common_length_m(panels: Sequence[PanelFacts], stated_m: float | None = None) -> float:
    """Return the flow length at which the panels are compared.

    Parameters
    ----------
    panels : sequence of PanelFacts
    stated_m : float, optional
        What the user asked for; else the longest run that a panel states for its part.

    Raises
    ------
    WetlineError
        If no panel knows of a length.
    """
    if stated_m is not None:
        return stated_m
    parts = [panel.answer.panel.part for panel in panels]
    stated = [part.flow_length_m for part in parts if part is not None and part.length_stated]
    lengths = stated or [part.flow_length_m for part in parts if part is not None]
    if not lengths:
        raise WetlineError(
            "no panel says how far the resin must run: add --length-mm, or [part] flow_length_mm "
            "to panel.toml"
        )
    return max(lengths)


def panel_numbers(panel: PanelFacts, first: PanelFacts, length_m: float) -> PanelNumbers:
    """Compute a panel's numbers at the common length, as run and with the first one's conditions.

    Parameters
    ----------
    panel, first : PanelFacts
        The panel, and the one whose resin and vacuum, and feed of the part, all are given.
    length_m : float
    """
    found = panel.answer
    told = found.panel
    part = told.part or Part(length_m, feed=told.flow)
    like = first.answer.panel
    feed = like.flow if like.part is None else like.part.feed
    part = replace(part, flow_length_m=length_m, length_stated=True, feed=feed)
    as_run = _at(found, replace(told, part=part), found.fit)
    return PanelNumbers(
        k=estimate(found.k_m2, found.k_low_m2, found.k_high_m2),
        time=_time(as_run, part.repeat_sd),
        time_alike=_alike(panel, first, part),
        margin=_margin(as_run, part.repeat_sd),
        at_length=as_run,
    )


def _at(found: PanelAnswer, panel: Panel, fit: object) -> PanelAnswer:
    return describe(panel, found.tracked, fit, found.anisotropy)  # type: ignore[arg-type]


def _alike(panel: PanelFacts, first: PanelFacts, part: Part) -> Estimate | None:
    """Fill time with the first panel's resin and vacuum; None where they are not known."""
    fit, like = panel.answer.fit, first.answer.fit
    if not isinstance(fit, PermeabilityFit) or not isinstance(like, PermeabilityFit):
        return None
    if fit.k_m2 is None or like.k_m2 is None:
        return None
    plain = replace(part, temperature_c=None, resin_batch="")
    told = replace(panel.answer.panel, part=plain)
    return _time(_at(panel.answer, told, replace(fit, impulse=like.impulse)), part.repeat_sd)


def _time(found: PanelAnswer, repeat_sd: float) -> Estimate | None:
    fill = found.fill
    if fill is None:
        return None
    return _without_repeat(estimate(fill.time_s, fill.time_low_s, fill.time_high_s), repeat_sd)


def _margin(found: PanelAnswer, repeat_sd: float) -> Estimate | None:
    gel = found.gel
    if gel is None:
        return None
    return _without_repeat(estimate(gel.margin, gel.margin_low, gel.margin_high), repeat_sd)


def _without_repeat(found: Estimate | None, repeat_sd: float) -> Estimate | None:
    """Take the scatter between lay-ups, which the forecast counts, off the sd of measurement."""
    if found is None:
        return None
    return replace(found, sd=max(found.sd**2 - repeat_sd**2, 0.0) ** 0.5)
