"""Published values of the shop: units, resin, stack, vacuum.

Tested in tests/analysis/selftest/test_report.py.
"""

from __future__ import annotations

import numpy as np

from analysis.panel.compaction import fibre_fraction, kozeny_ratio, thickness_m
from analysis.panel.resin import arrhenius_factor, halving_rule
from analysis.panel.tables.gauge_units import to_absolute_mbar
from analysis.panel.viscosity import castro_macosko, cup_viscosity
from analysis.selftest.check import Check
from analysis.shop.drawdown import SCCM_MBAR_L_S, Drawdown, assess_drawdown, leak_mbar_l_s
from analysis.shop.gauge_log import GaugeLog
from analysis.shop.resin_quantity import pore_mass_kg, weight_fraction
from vision.common import quantity as q

YARD = "international yard and pound agreement, 1959"
SP_811 = "NIST SP 811, appendix B.8 (from memory)"
TEXTBOOK = "textbook relation, worked out"
CHENG = "Cheng, J. Mater. Sci. 29, 721, 1994, activation energy 19.8 kcal/mol; worked out"
CASTRO = "Castro and Macosko, AIChE J. 28, 250, 1982, constants from memory; worked out"
DROP_TEST = "worked drop test in a materials distributor's infusion guide"
DROP_INHG = (29.20, 29.17, 29.15, 29.13, 29.12, 29.11)
"""Vacuum of the published drop test, minute by minute."""
CURING = {"a_pa_s": 10.3e-8, "energy_j_mol": 41_300.0, "gel_conversion": 0.65, "a": 1.5, "b": 1.0}


def drop_test() -> Drawdown:
    """Compute the published drop test: 1 inHg allowed in 5 min."""
    bag = to_absolute_mbar(np.array(DROP_INHG), "inhg", 1013.25)
    log = GaugeLog(np.arange(6) * 60.0, bag, 0.01 * q.INHG_MBAR, "inhg")
    return assess_drawdown(log, q.INHG_MBAR, 5.0)


SHOP_CHECKS = (
    Check("40 in", YARD, 1016.0, "mm", 1e-9, lambda: q.read_quantity("40 in", q.LENGTH_MM)),
    Check("1 lb", YARD, 0.45359237, "kg", 1e-12, lambda: q.read_quantity("1 lb", q.MASS_KG), 8),
    Check(
        "1 inHg", SP_811, 33.86389, "mbar", 1e-5,
        lambda: q.read_quantity("1 inHg", q.PRESSURE_MBAR), 7,
    ),
    Check(
        "1 psi", SP_811, 68.94757, "mbar", 1e-5,
        lambda: q.read_quantity("1 psi", q.PRESSURE_MBAR), 7,
    ),
    Check(
        "1 oz/yd2", SP_811, 33.90575, "g/m2", 1e-5,
        lambda: q.read_quantity("1 oz/yd2", q.AREAL_G_M2), 7,
    ),
    Check(
        "water boils at 212 F", "definition of the scale", 100.0, "C", 1e-9,
        lambda: q.read_quantity("212 F", q.TEMPERATURE_C),
    ),
    Check(
        "gel time of 25 min at 20 C, at 30 C", "open composites guide, Gelation and curing, 2019",
        12.0, "min", 0.5, lambda: halving_rule(25.0, 20.0, 30.0), 3,
    ),
    Check(
        "how much faster an epoxy reacts at 30 C than at 20 C", CHENG, 3.07, "", 0.005,
        lambda: 1.0 / arrhenius_factor(19.8 * 4184.0, 20.0, 30.0), 3,
    ),
    Check(
        "rise of viscosity at 30 % conversion", CASTRO, 3.04734, "", 1e-5,
        lambda: _castro_rise(0.3),
    ),
    Check(
        "viscosity by a 4 mm flow cup in 60 s, 1100 kg/m3", "ISO 2431 (from memory); worked out",
        86.75, "mPa s", 0.01,
        lambda: 1e3 * float(cup_viscosity(np.array(60.0), 4, 1100.0)), 4,
    ),
    Check(
        "fibre by weight at half by volume, glass and epoxy", TEXTBOOK, 0.690027, "", 1e-6,
        lambda: weight_fraction(0.5, 2560.0, 1150.0),
    ),
    Check(
        "thickness of 6 x 600 g/m2 of glass, half fibre", TEXTBOOK, 2.8125, "mm", 1e-6,
        lambda: 1e3 * thickness_m(3.6, 2560.0, 0.5), 5,
    ),
    Check(
        "resin in a square metre of it", TEXTBOOK, 1.61719, "kg", 1e-5,
        lambda: pore_mass_kg(1.0, 2.8125e-3, 0.5, 1150.0),
    ),
    Check(
        "fibre by volume of hand lay-up, 10 oz/yd2 in 0.016 in",
        "an epoxy supplier's guide; 0.25 to 0.33 is usual by hand", 0.326, "", 0.001,
        lambda: fibre_fraction(0.3391, 2560.0, 0.016 * 0.0254), 3,
    ),
    Check(
        "permeability at half fibre over that at 0.6", "Kozeny's form (from memory); worked out",
        2.8125, "", 1e-9, lambda: kozeny_ratio(0.6, 0.5), 5,
    ),
    Check("1 sccm", "vacuum practice", 0.0168875, "mbar l/s", 1e-9, lambda: SCCM_MBAR_L_S),
    Check(
        "leak of 6.77 mbar/min in 5 l", "vacuum practice; worked out", 33.41, "sccm", 0.01,
        lambda: leak_mbar_l_s(6.77, 5.0) / SCCM_MBAR_L_S, 4,
    ),
    Check(
        "rise in 5 min of the drop test", f"{DROP_TEST}: 0.09 inHg", 3.05, "mbar", 0.05,
        lambda: drop_test().measured_rise_mbar, 3,
    ),
    Check(
        "how many of that one test pass", f"{DROP_TEST}: it passes", 1.0, "", 0.0,
        lambda: float(drop_test().verdict == "go"), 1,
    ),
)  # fmt: skip


def _castro_rise(conversion: float) -> float:
    viscosity = castro_macosko(np.array([0.0, conversion]), 25.0, **CURING)
    return float(viscosity[1] / viscosity[0])
