"""What a user of drawdown and resin reads, whole, from numbers set by hand."""

from dataclasses import replace

from analysis.shop.drawdown import HIDING_PLACES, Drawdown
from analysis.shop.drawdown_text import drawdown_lines
from analysis.shop.mixing_plan import Pot, ResinPlan, plan_json, plan_lines

LOG = Drawdown(
    start_mbar=5.04, log_min=20.0, shape="steady leak", leak_mbar_min=1.4981,
    leak_low_mbar_min=1.4732, leak_high_mbar_min=1.5251, outgassing_mbar=0.04,
    outgassing_low_mbar=0.0, outgassing_high_mbar=0.53, outgassing_time_min=None,
    rise_mbar=30.0, rise_low_mbar=29.6, rise_high_mbar=30.4, measured_rise_mbar=29.94,
    at_gel_mbar=95.2, at_gel_high_mbar=96.4, leak_mbar_l_s=0.12484, leak_sccm=7.392,
    limit_mbar=10.0, limit_min=20.0, verdict="no-go", reason="it leaks", notes=("a note",),
)  # fmt: skip


def test_a_drawdown_that_fails():
    assert drawdown_lines(LOG, 1000.4) == [
        "NO-GO: it leaks",
        "Shape:      steady leak; rose 29.9 mbar in 20.0 min from 5.0 mbar",
        "Leak:       1.498 mbar/min (95 %: 1.473 to 1.525)",
        "Outgassing: 0.0 mbar in 20 min (95 %: 0.0 to 0.5)",
        "            0.1248 mbar l/s, 7.39 sccm",
        "At gel:     95 mbar in the bag with the pump off, at most 96",
        "Note:       a note",
        "Leaks hide in:",
        *(f"- {place}" for place in HIDING_PLACES),
        "A flat glass plate or a thin tool can break under vacuum: keep clear, wear eye "
        "protection.",
        "For panel.toml:",
        "[vacuum]",
        "ambient_mbar = 1000",
        "bag_mbar = 5.0",
    ]


def test_a_drawdown_that_passes_names_no_hiding_places():
    go = replace(LOG, verdict="go", notes=(), leak_mbar_l_s=None, at_gel_mbar=None)
    assert [line.split(":")[0] for line in drawdown_lines(go, 1013.0)] == [
        "GO",
        "Shape",
        "Leak",
        "Outgassing",
        "A flat glass plate or a thin tool can break under vacuum",
        "For panel.toml",
        "[vacuum]",
        "ambient_mbar = 1013",
        "bag_mbar = 5.0",
    ]


PLAN = ResinPlan(
    items_kg={"stack": 3.2344, "waste allowance": 0.3234},
    total_kg=3.5578,
    resin_kg=2.7368,
    hardener_kg=0.8210,
    pots=(
        Pot(1, 1.3684, 0.4105, -300.0, 2220.0, 1.7789),
        Pot(2, 1.3684, 0.4105, 6000.0, None, 1.7789),
    ),
    notes=("mind the heat",),
    alarms=("not today",),
    cautions=("goggles",),
)


def test_a_plan_to_mix():
    assert plan_lines(PLAN) == [
        "STOP: not today",
        "Mix 3.56 kg: 2.74 kg resin and 821 g hardener",
        "  stack                  3.234 kg",
        "  waste allowance        0.323 kg",
        "Pots: 2",
        "  1: 1.368 kg resin + 410 g hardener, mix 5 min before the resin opens, "
        "pour by 37 min after the resin opens",
        "  2: 1.368 kg resin + 410 g hardener, mix 100 min after the resin opens",
        "Note: mind the heat",
        "CAUTION: goggles",
    ]


def test_a_plan_of_unknown_ratio():
    pots = tuple(replace(pot, resin_kg=None, hardener_kg=None) for pot in PLAN.pots)
    lines = plan_lines(replace(PLAN, resin_kg=None, hardener_kg=None, pots=pots))
    assert lines[1] == "Mix 3.56 kg: resin and hardener together"
    assert (
        lines[6] == "  2: 1.779 kg, resin and hardener together, mix 100 min after the resin opens"
    )


def test_a_plan_in_json():
    assert plan_json(PLAN) == {
        "alarms": ["not today"],
        "items_kg": {"stack": 3.2344, "waste allowance": 0.3234},
        "total_kg": 3.5578,
        "resin_kg": 2.7368,
        "hardener_kg": 0.8210,
        "pots": [
            {
                "number": k + 1,
                "resin_kg": 1.3684,
                "hardener_kg": 0.4105,
                "mix_at_s": (-300.0, 6000.0)[k],
                "pour_by_s": (2220.0, None)[k],
                "mixed_kg": 1.7789,
            }
            for k in range(2)
        ],
        "notes": ["mind the heat"],
        "cautions": ["goggles"],
    }
