"""What [part] and [height] of part.toml say: how the part is infused, and how high it stands.

Tested in tests/analysis/part/plan/test_part_toml.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.panel.records import Resin
from analysis.panel.resin import gel_time
from analysis.panel.tables.stack import sd_share
from analysis.panel.viscosity import viscosity_factor
from analysis.part.plan.plan import Heights
from vision.common.quantity import TEMPERATURE_C
from vision.common.toml_table import Table
from vision.records import FloatArray

PART_FIELDS = (
    "name",
    "repeat_sd_percent",
    "feed_line",
    "resin_batch",
    "batch_sd_percent",
    "temperature_c",
    "temperature_sd_c",
)
HEIGHT_FIELDS = ("pot_mm", "part_mm", "places_mm")
FEED_LINES = ("same", "other", "none")
BATCHES = ("same", "new")
LIKELY_C = (5.0, 80.0)
MOST_HEIGHT_MM = 10_000.0
LIKELY_POT_MM = (-3000.0, 3000.0)
OFF_PLANE_MM = 20.0
"""Places this far off one plane make the part bent; 20 mm of resin are 2 mbar."""
OTHER_FEED_MM = 20.0
"""Length of stack that a feed line of unknown resistance may slow the resin by (common practice,
no source)."""


@dataclass(frozen=True)
class Conditions:
    """How the part is infused, as far as it may differ from where its numbers come from.

    Attributes
    ----------
    repeat_sd : float
        Relative sd of permeability from one lay-up to the next. 8 % is what one laboratory saw
        with one fabric (May et al. 2019, Compos. Part A 121, 100-114, from memory).
    feed_line : {"same", "other", "none", ""}
        Whether the feeds resist as stated ("same"), in a way not known ("other"), or not at all;
        "" not stated, which counts as not known.
    viscosity_sd : float
        Relative sd of the part's viscosity against the one reckoned with.
    own_viscosity_sd : float
        Relative sd of the part's viscosity itself, also where that of a panel shares it.
    temperature_c : float or None
        Of resin and part on the day; None where it is that of [resin].
    """

    repeat_sd: float = 0.08
    feed_line: str = ""
    viscosity_sd: float = 0.0
    own_viscosity_sd: float = 0.05
    temperature_c: float | None = None


def read_conditions(table: Table, resin: Resin, from_panel: bool) -> Conditions:
    """Read [part].

    Parameters
    ----------
    table : Table
        [part].
    resin : Resin
        At the temperature of [resin].
    from_panel : bool
        Whether the permeability comes from a panel: the same batch of resin then has the same
        viscosity in panel and part, so its doubt is in the permeability already.

    Raises
    ------
    WetlineError
        If a field is unknown or a value cannot be true.
    """
    table.refuse_unknown(PART_FIELDS)
    batch = str(table.text("resin_batch", "", choices=BATCHES))
    batch_sd = sd_share(table, "batch_sd_percent", 7.0)
    warm = table.quantity(
        "temperature_c", TEMPERATURE_C, at_least=-20, at_most=200, likely=LIKELY_C
    )
    doubt_c = table.number("temperature_sd_c", 0.5, at_least=0, at_most=10) or 0.0
    if warm is not None and resin.temperature_c is None:
        raise table.bad(
            "temperature_c",
            "needs the temperature its viscosity and gel time hold for beside it: add [resin] "
            "temperature_c",
        )
    told = (batch_sd if batch == "new" else 0.0) if from_panel else resin.viscosity_sd
    if not from_panel and batch == "new":
        told = float(np.hypot(told, batch_sd))
    if warm is not None:
        colder, warmer = (viscosity_factor(resin, warm + d)[0] for d in (-1.0, 1.0))
        degrees = float(np.log(colder / warmer) / 2.0) * doubt_c
        told = float(np.sqrt(told**2 + viscosity_factor(resin, warm)[1] ** 2 + degrees**2))
    own = float(np.hypot(told, resin.viscosity_sd)) if from_panel else told
    table.refuse_questions()
    return Conditions(
        repeat_sd=sd_share(table, "repeat_sd_percent", 8.0),
        feed_line=str(table.text("feed_line", "", choices=FEED_LINES)),
        viscosity_sd=told,
        own_viscosity_sd=own,
        temperature_c=warm,
    )


def at_part_temperature(resin: Resin, conditions: Conditions) -> tuple[Resin, list[str]]:
    """Return the resin at the part's temperature, and what was carried.

    Notes
    -----
    Viscosity by Arrhenius' law; the resin thickens in step with its gel time (common practice, no
    source).
    """
    to_c = conditions.temperature_c
    if to_c is None or resin.temperature_c is None or abs(to_c - resin.temperature_c) < 0.05:
        return resin, []
    factor = viscosity_factor(resin, to_c)[0]
    here, there = gel_time(resin), gel_time(resin, to_c)
    slower = there.gel_s / here.gel_s if here is not None and there is not None else 1.0
    log, start = resin.viscosity_log, resin.viscosity_pa_s
    if log is not None:
        log = replace(log, time_s=log.time_s * slower, value=log.value * factor)
    at_c = resin.gel_temperature_c
    carried = replace(
        resin,
        viscosity_pa_s=None if start is None else start * factor,
        viscosity_log=log,
        viscosity_growth_per_s=resin.viscosity_growth_per_s / slower,
        viscosity_temperature_c=to_c,
        gel_temperature_c=resin.temperature_c if at_c is None else at_c,
        temperature_c=to_c,
    )
    return carried, [
        f"resin carried from {resin.temperature_c:g} to {to_c:g} C: viscosity times {factor:.2f}, "
        f"gel time times {slower:.2f}"
    ]


def read_heights(table: Table) -> Heights | None:
    """Read [height]: how high the part's places and its pot stand, from any one level.

    Returns
    -------
    heights : Heights or None
        None where nothing is said: the pot is then level with the part.

    Raises
    ------
    WetlineError
        If the places do not lie in one plane, or do not span one.
    """
    table.refuse_unknown(HEIGHT_FIELDS)
    if not table.values:
        return None
    pot = table.length("pot_mm", likely=LIKELY_POT_MM)
    level = table.length("part_mm", at_least=-MOST_HEIGHT_MM, at_most=MOST_HEIGHT_MM)
    table.refuse_questions()
    if pot is None:
        raise table.bad("pot_mm", "is needed: how high the resin stands in the pot")
    if not table.has("places_mm"):
        return Heights(pot, (0.0, 0.0, 0.0 if level is None else level))
    if level is not None:
        raise table.bad("part_mm", "goes without places_mm: keep one of them")
    places = _places(table)
    matrix = np.column_stack([places[:, :2], np.ones(len(places))])
    if len(places) < 3 or np.linalg.svd(matrix[:, :2] - matrix[:, :2].mean(axis=0))[1][1] < 1.0:
        raise table.bad("places_mm", "needs three places or more that do not lie in one line")
    plane = np.linalg.lstsq(matrix, places[:, 2], rcond=None)[0]
    off = float(np.abs(matrix @ plane - places[:, 2]).max())
    if off > OFF_PLANE_MM:
        raise table.bad(
            "places_mm",
            f"lie up to {off:.0f} mm off one plane: this part is bent, which is not worked out; "
            "mend a height, or give part_mm alone for the highest place",
        )
    return Heights(pot, (float(plane[0]), float(plane[1]), float(plane[2])))


def _places(table: Table) -> FloatArray:
    """Read a list of [x, y, height]."""
    value = table.values["places_mm"]
    good = isinstance(value, list) and all(
        isinstance(item, list)
        and len(item) == 3
        and all(isinstance(x, int | float) and not isinstance(x, bool) for x in item)
        and np.isfinite(item).all()
        for item in value
    )
    if not good or np.abs(np.array(value, float)).max(initial=0.0) > 1e5:
        raise table.bad("places_mm", "must be a list of [x, y, height] in mm")
    return np.array(value, float).reshape(-1, 3)
