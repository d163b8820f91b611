"""The panel as the analysis sees it: frozen records, SI units, shares instead of percent.

Tested in tests/analysis/panel/test_panel_toml.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from vision.records import FloatArray

ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere at sea level (ISO 2533)."""


@dataclass(frozen=True)
class Log:
    """A logged quantity: `time_s` since resin start, `value` in SI units, both of shape (N,)."""

    time_s: FloatArray
    value: FloatArray


@dataclass(frozen=True)
class Media:
    """Flow media laid over the stack.

    Attributes
    ----------
    thickness_m, porosity : float
    k_m2 : float or None
        Its own permeability; None until two panels have given it.
    lead_m : float or None
        How far its front runs ahead of the front at the tool, where somebody measured it.
    """

    thickness_m: float
    porosity: float = 0.85
    k_m2: float | None = None
    lead_m: float | None = None


@dataclass(frozen=True)
class Stack:
    """The dry lay-up under the bag.

    Attributes
    ----------
    porosity : float or None
        Open share of the stack's volume under full vacuum.
    porosity_sd : float
        Its relative standard uncertainty.
    thickness_m, areal_weight_kg_m2, fibre_density_kg_m3 : float or None
        Thickness under full vacuum, fibre mass per area of the whole stack, density of the fibre.
    compaction_exponent : float or None
        B of ``Vf = Vf1 (compacting pressure / 1 bar)^B``; None where the user gave none.
    media : Media or None
        Flow media on top; thickness and porosity above are then those of the stack alone.
    kz_m2 : float or None
        Through-thickness permeability.
    k_confirmed : bool
        Whether the user has confirmed an unusual permeability.
    """

    porosity: float | None = None
    porosity_sd: float = 0.02
    thickness_m: float | None = None
    areal_weight_kg_m2: float | None = None
    fibre_density_kg_m3: float | None = None
    compaction_exponent: float | None = None
    media: Media | None = None
    kz_m2: float | None = None
    k_confirmed: bool = False

    @property
    def fibre_fraction(self) -> float | None:
        """Fibre volume fraction Vf = 1 - porosity."""
        return None if self.porosity is None else 1.0 - self.porosity


@dataclass(frozen=True)
class Resin:
    """The mixed resin.

    Attributes
    ----------
    viscosity_pa_s : float or None
        At resin start and at `viscosity_temperature_c` (or the shop's temperature).
    viscosity_sd : float
        Relative standard uncertainty.
    viscosity_growth_per_s : float
        k of ``mu = mu0 exp(k t)``; 0 for constant.
    viscosity_log : Log or None
        Time since resin start and viscosity in Pa s; goes before the two above.
    gel_time_s : float or None
        From mixing, at `gel_temperature_c`.
    gel_second : tuple of (time_s, temperature_c) or None
        A second gel time, for Arrhenius scaling.
    viscosity_second : tuple of (viscosity_pa_s, temperature_c) or None
        A second viscosity, for Arrhenius scaling.
    mixed_before_start_s : float
        How long before resin start the hardener went in.
    working_share : float
        Share of the gel time a fill may take; 0.7 is common practice, no source.
    hardener_parts : float or None
        Parts of hardener by weight to 100 parts of resin.
    resin_class : str
        Generic class, as "thin epoxy" or "polyester"; "" not stated.
    pot_limit_kg : float
        Most that is mixed in one pot; 5 kg is common practice, no source.
    """

    name: str = ""
    viscosity_pa_s: float | None = None
    viscosity_sd: float = 0.05
    viscosity_growth_per_s: float = 0.0
    viscosity_log: Log | None = None
    viscosity_temperature_c: float | None = None
    viscosity_second: tuple[float, float] | None = None
    temperature_c: float | None = None
    gel_time_s: float | None = None
    gel_sd: float = 0.10
    gel_temperature_c: float | None = None
    gel_second: tuple[float, float] | None = None
    mixed_before_start_s: float = 0.0
    working_share: float = 0.7
    density_kg_m3: float | None = None
    hardener_parts: float | None = None
    pot_limit_kg: float = 5.0
    pot_life_s: float | None = None
    resin_class: str = ""


@dataclass(frozen=True)
class Vacuum:
    """What drives the resin.

    Attributes
    ----------
    pressure_pa : float or None
        Pressure at the feed less pressure in the dry stack; the mean over a log.
    pressure_sd : float
        Relative standard uncertainty.
    log : Log or None
        Time since resin start and driving pressure difference in Pa.
    typed : Log or None
        The same from readings typed at the board; they tell a sag, and drive nothing.
    ambient_pa : float
        Air pressure in the shop.
    """

    pressure_pa: float | None = None
    pressure_sd: float = 0.02
    log: Log | None = None
    ambient_pa: float = ATMOSPHERE_PA
    typed: Log | None = None


@dataclass(frozen=True)
class Part:
    """The part the panel stands for.

    Attributes
    ----------
    flow_length_m : float
        From feed to the farthest spot; the panel's own length where the user gave none.
    feed : {"edge", "point"}
        Fed along a line, or at a point like a point-fed panel.
    fibre_fraction : float or None
        Vf of the part where it differs from the panel's; the forecast is then corrected by
        Kozeny's form.
    repeat_sd : float
        Relative standard deviation of permeability from one lay-up to the next. 8 % is what one
        laboratory saw with one fabric (May et al. 2019, Compos. Part A 121, 100-114, from
        memory). It is that of the change from this panel to the part, not of the scatter about a
        mean of many.
    feed_line : {"same", "other", "none", ""}
        Whether the part's feed line resists as the panel's, otherwise, or not; "" not stated.
    resin_batch : {"same", "new", ""}
        "" counts as the same.
    batch_sd : float
        Relative sd of viscosity from batch to batch, for a new one; 7 % is common practice, no
        source.
    temperature_c, temperature_sd_c : float or None, float
        Of resin and part when the part is infused, and how sure; None where it is the panel's.
    length_stated : bool
        Whether the user stated `flow_length_m`; else it is the panel's own.
    """

    flow_length_m: float
    feed: str = "edge"
    area_m2: float | None = None
    thickness_m: float | None = None
    repeat_sd: float = 0.08
    fibre_fraction: float | None = None
    length_stated: bool = True
    feed_line: str = ""
    resin_batch: str = ""
    batch_sd: float = 0.07
    temperature_c: float | None = None
    temperature_sd_c: float = 0.5


@dataclass(frozen=True)
class Panel:
    """One test panel as described in its panel.toml.

    Attributes
    ----------
    notes : tuple of str
        What was filled in, carried to another temperature, or confirmed though unusual.
    understood : tuple of str
        How values written with a unit were understood.
    questions : tuple of str
        Values that are possible but not likely; no answer is built on them.
    stamp : str
        Of all that an answer rests on, to notice a change; empty for a panel not read from a file.
    """

    folder: Path
    name: str
    flow: str
    length_m: float | None
    width_m: float | None
    feed_radius_m: float | None
    slope_deg: float
    stack: Stack
    resin: Resin
    vacuum: Vacuum
    part: Part | None
    notes: tuple[str, ...] = ()
    understood: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    stamp: str = ""
