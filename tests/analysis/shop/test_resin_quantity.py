import pytest

from analysis.panel.records import Media, Part, Resin, Stack
from analysis.shop.mixing_plan import plan_resin
from analysis.shop.resin_quantity import (
    Extras,
    panel_uptake,
    pore_mass_kg,
    question_uptake,
    weighed_uptake_kg_m2,
    weight_fraction,
)
from tests.made_up.curves import make_panel
from vision.errors import WetlineError

RESIN = Resin(density_kg_m3=1150.0, hardener_parts=30.0, gel_time_s=3600.0, pot_limit_kg=1.0)


def panel(**changes):
    stack = Stack(porosity=0.5, thickness_m=2.8125e-3)
    values = {"resin": RESIN, "stack": stack, "part": Part(0.5, area_m2=2.0)}
    return make_panel(**(values | changes))


@pytest.mark.parametrize(
    ("vf", "glass", "carbon"),
    [
        (0.30, 0.488239, 0.400149),
        (0.40, 0.597433, 0.509246),
        (0.50, 0.690027, 0.608844),
        (0.55, 0.731239, 0.655459),
        (0.60, 0.769540, 0.700130),
    ],
)
def test_weight_fractions(vf, glass, carbon):
    # Lecture relation Wf = rf Vf / (rf Vf + rm (1 - Vf)); densities 2560, 1790, 1150 textbook.
    assert weight_fraction(vf, 2560.0, 1150.0) == pytest.approx(glass, abs=1e-6)
    assert weight_fraction(vf, 1790.0, 1150.0) == pytest.approx(carbon, abs=1e-6)


@pytest.mark.parametrize(
    ("thickness_mm", "porosity", "kg_m2"),
    [(2.8125, 0.50, 1.61719), (2.55682, 0.45, 1.32315), (2.43779, 0.45, 1.26155)],
)
def test_resin_per_area(thickness_mm, porosity, kg_m2):
    # Resin per area = rm (1 - Vf) h (lecture relation).
    assert pore_mass_kg(1.0, thickness_mm / 1000, porosity, 1150.0) == pytest.approx(kg_m2, 1e-5)


def test_a_panel_with_media_and_line():
    # 0.5 x 0.3 m: stack 0.24258 kg, medium 0.9 mm of porosity 0.85 0.13196 kg, 2 m of 8 mm bore
    # 0.11561 kg (worked out from the volumes).
    extras = Extras(2.0, 0.008, 0.15, 0.9e-3, 0.85, 0.0, 0.0, 0.0)
    plan = plan_resin(panel(), extras, area_m2=0.15)
    assert plan.items_kg["stack"] == pytest.approx(0.24258, abs=1e-5)
    assert plan.items_kg["flow media"] == pytest.approx(0.13196, abs=1e-5)
    assert plan.items_kg["lines"] == pytest.approx(0.11561, abs=1e-5)
    assert plan.total_kg == pytest.approx(0.49015, abs=2e-5)


def test_weighed_uptake_goes_before_the_pores():
    uptake = weighed_uptake_kg_m2(1.0, 0.7, 0.1, 0.12)
    assert uptake == pytest.approx(0.2 / 0.12)
    assert panel_uptake(panel(), 1.0, 0.7, 0.1) == pytest.approx(0.2 / 0.12)
    plan = plan_resin(panel(), Extras(), uptake_kg_m2=uptake)
    assert plan.items_kg["stack"] == pytest.approx(2.0 * 0.2 / 0.12)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"part": Part(0.5)}, "area_m2"),
        ({"stack": Stack()}, "thickness_mm"),
        ({"stack": Stack(thickness_m=0.003)}, "porosity"),
    ],
)
def test_what_is_missing_is_named(changes, says):
    with pytest.raises(WetlineError, match=says):
        plan_resin(panel(**changes), Extras())


def test_weights_that_cannot_be():
    with pytest.raises(WetlineError, match="leave nothing for the panel"):
        weighed_uptake_kg_m2(0.5, 0.6, 0.0, 0.1)
    with pytest.raises(WetlineError, match="go together"):
        panel_uptake(panel(), 1.0, None, 0.0)


def test_flow_media_of_the_stack_counts():
    # 0.9 mm of porosity 0.85 over 2 m2 at 1150 kg/m3: 1.7595 kg.
    stack = Stack(porosity=0.5, thickness_m=2.8125e-3, media=Media(0.9e-3, 0.85))
    plan = plan_resin(panel(stack=stack), Extras())
    assert plan.items_kg["flow media"] == pytest.approx(1.7595)
    told = plan_resin(panel(stack=stack), Extras(media_area_m2=1.0, media_thickness_m=0.9e-3))
    assert told.items_kg["flow media"] == pytest.approx(1.7595 / 2)
    weighed = plan_resin(panel(stack=stack), Extras(), uptake_kg_m2=2.0)
    assert "flow media" not in weighed.items_kg


@pytest.mark.parametrize(
    ("uptake", "media", "asks"),
    # Pores 1.617 kg/m2, media 0.880 kg/m2; questioned past 1.6 times either way.
    [(1.7, None, False), (2.7, None, True), (0.9, None, True), (2.5, Media(0.9e-3), False)],
)
def test_bucket_weights_that_are_not_likely_are_questioned(uptake, media, asks):
    stack = Stack(porosity=0.5, thickness_m=2.8125e-3, media=media)
    question = question_uptake(panel(stack=stack), uptake)
    assert bool(question) is asks
    if asks:
        assert f"{uptake:.2f} kg/m2" in question
        assert question in plan_resin(panel(stack=stack), Extras(), uptake).alarms


@pytest.mark.parametrize("uptake", [400.0, 7.0, 0.3])
def test_bucket_weights_that_cannot_be_are_refused(uptake):
    with pytest.raises(WetlineError, match="check the weights"):
        question_uptake(panel(), uptake)


def test_without_a_thickness_only_the_absurd_is_refused():
    bare = panel(stack=Stack(porosity=0.5))
    assert question_uptake(bare, 5.0) == ""
    for uptake in (0.05, 40.0):
        with pytest.raises(WetlineError, match="is likely"):
            question_uptake(bare, uptake)
