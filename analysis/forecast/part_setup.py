"""What may differ between panel and part: the feed line, the batch of resin, the shop's warmth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.fit.impulse import Impulse, logged_impulse
from analysis.panel.records import Log, Panel, Part
from analysis.panel.resin import GelTime, gel_time
from analysis.panel.viscosity import viscosity_factor

OTHER_FEED_M = 0.02
"""Extra length that another kind of feed line may add where the panel's own resisted less (common
practice, no source)."""


@dataclass(frozen=True)
class FeedLine:
    """One guess of the part's feed: the panel's extra length times `share`, plus `extra_m`."""

    weight: float
    share: float
    extra_m: float = 0.0


SAME_FEED = (FeedLine(1.0, 1.0),)
NO_FEED = (FeedLine(1.0, 0.0),)
UNSTATED_FEED = tuple(
    FeedLine(weight, share)
    for share, weight in ((0.0, 0.35), (0.5, 0.10), (1.0, 0.10), (1.5, 0.10), (2.0, 0.35))
)
"""From no resistance at all to twice the panel's; the ends weigh most, so that the interval still
holds when one of them is true (set with tests/bench/interval_coverage.py)."""


@dataclass(frozen=True)
class PartSetup:
    """How the part is infused, as far as it differs from the panel.

    Attributes
    ----------
    feeds : tuple of FeedLine
        Guesses of the feed's resistance, weights summing to 1.
    best : FeedLine
        The one the best estimate is made with.
    temperature_c : float or None
        Of resin and part; None where it is the panel's.
    viscosity_sd : float
        Relative standard uncertainty of the part's viscosity against the panel's.
    """

    feeds: tuple[FeedLine, ...] = SAME_FEED
    best: FeedLine = SAME_FEED[0]
    temperature_c: float | None = None
    viscosity_sd: float = 0.0


def part_setup(panel: Panel, feed_length_m: float) -> PartSetup:
    """Return what [part] says of feed line, batch and temperature.

    Parameters
    ----------
    panel : Panel
        With its part.
    feed_length_m : float
        Extra length that stands for the resistance of the panel's own feed.
    """
    part = panel.part
    if part is None:
        return PartSetup()
    feeds = _feeds(part, feed_length_m)
    best = NO_FEED[0] if part.feed_line == "none" else SAME_FEED[0]
    batch_sd = part.batch_sd if part.resin_batch == "new" else 0.0
    if part.temperature_c is None:
        return PartSetup(feeds, best, None, batch_sd)
    carried_sd = viscosity_factor(panel.resin, part.temperature_c)[1]
    per_degree = _viscosity_per_degree(panel, part.temperature_c)
    doubt = np.sqrt(batch_sd**2 + carried_sd**2 + (per_degree * part.temperature_sd_c) ** 2)
    return PartSetup(feeds, best, part.temperature_c, float(doubt))


def _feeds(part: Part, feed_length_m: float) -> tuple[FeedLine, ...]:
    if part.feed_line == "same":
        return SAME_FEED
    if part.feed_line == "none":
        return NO_FEED
    if part.feed_line == "other" and feed_length_m < OTHER_FEED_M:
        return tuple(FeedLine(f.weight, 0.0, f.share * OTHER_FEED_M) for f in UNSTATED_FEED)
    return UNSTATED_FEED


def _viscosity_per_degree(panel: Panel, temperature_c: float) -> float:
    """Relative change of viscosity for each degree, from Arrhenius' law."""
    colder, warmer = (viscosity_factor(panel.resin, temperature_c + d)[0] for d in (-1.0, 1.0))
    return float(np.log(colder / warmer) / 2.0)


def part_gel_time(panel: Panel) -> GelTime | None:
    """Return the gel time at the part's temperature, the panel's where none is stated."""
    return gel_time(panel.resin, None if panel.part is None else panel.part.temperature_c)


def carried_impulse(
    panel: Panel, temperature_c: float | None = None, cure: float = 1.0, drive: float = 1.0
) -> Impulse:
    """Compute the impulse curve of the panel's resin and vacuum under other conditions.

    Parameters
    ----------
    panel : Panel
        Where pressure or viscosity is missing, both count as 1.
    temperature_c : float, optional
        Of the resin; the panel's if left out.
    cure : float
        Factor on the time in which the resin thickens, beside that of the temperature.
    drive : float
        Factor on the driving pressure.

    Notes
    -----
    Source: Arrhenius' law for viscosity; the resin thickens in step with its gel time (common
    practice, no source).
    """
    resin, thin = panel.resin, 1.0
    if temperature_c is not None:
        thin = viscosity_factor(resin, temperature_c)[0]
        before, after = gel_time(resin), gel_time(resin, temperature_c)
        if before is not None and after is not None:
            cure *= after.gel_s / before.gel_s
    pressure: Log | float | None = panel.vacuum.log or panel.vacuum.pressure_pa
    viscosity: Log | float | None = resin.viscosity_log or resin.viscosity_pa_s
    if pressure is None or viscosity is None:
        pressure, viscosity = 1.0, 1.0
    if isinstance(pressure, Log):
        pressure = replace(pressure, value=pressure.value * drive)
    else:
        pressure = pressure * drive
    if isinstance(viscosity, Log):
        viscosity = Log(viscosity.time_s * cure, viscosity.value * thin)
    else:
        viscosity = viscosity * thin
    return logged_impulse(pressure, viscosity, resin.viscosity_growth_per_s / cure)


def assumptions(panel: Panel, feed_length_m: float) -> tuple[str, ...]:
    """Write what the forecast of the part takes for granted, in plain words."""
    part, resin = panel.part, panel.resin
    if part is None:
        return ()
    feed = {
        "same": "a feed line that holds the resin back as much as the panel's did",
        "none": "a feed line that holds nothing back",
        "other": "another feed line: it may hold back nothing, or twice as much as the panel's",
    }.get(
        part.feed_line,
        "a feed line of which nothing is stated: it may hold back nothing, or twice the panel's",
    )
    if part.feed_line == "" and feed_length_m <= 0:
        feed = "a feed line that holds nothing back, as on the panel"
    batch = "a new batch of resin" if part.resin_batch == "new" else "the same batch of resin"
    warmth = "as warm as on the panel"
    if part.temperature_c is not None:
        warmth = f"at {part.temperature_c:g} C"
    elif resin.temperature_c is not None:
        warmth = f"at {resin.temperature_c:g} C as on the panel"
    lay_up = f"permeability {part.repeat_sd * 100:g} % (one sd) off from one lay-up to the next"
    return feed, f"{batch}, {warmth}", lay_up
