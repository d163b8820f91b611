"""No colour tells alone: the palettes in grey, and as colour-blind eyes see them.

Simulation: the matrices for full protanopia, deuteranopia and tritanopia of Machado, Oliveira and
Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE
Transactions on Visualization and Computer Graphics 15(6), 2009, table of severity 1.0 (from
memory; each row adds to one, so that grey stays grey: tested). Distance: CIE 1976 L*a*b*, worked
out by scikit-image. Source of sRGB and of grey as L*: IEC 61966-2-1 and ISO/CIE 11664-4.
"""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from skimage.color import rgb2lab

from analysis.part.answer.figures import AIR, FEED, GEL, LAST, VENT
from analysis.record.figures import BLUE, GREY, INK, VERMILION
from analysis.runs.panels.line_style import line_style

EYES = {
    "usual": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
APART = 15.0
"""CIE 1976 distance of two colours that are not taken for each other in thin lines: about six
times one that is just seen (2.3: Mahy, Van Eycken and Oosterlinck 1994, from memory)."""
FAINT = 8.0
"""Difference of L* that is seen between two patches in grey (common practice, no source)."""


def seen_lab(colours, eye):
    """Return colours in L*a*b* as an eye sees them."""
    rgb = np.array([to_rgb(colour) for colour in colours])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(EYES[eye]).T, 0, 1)
    back = np.where(seen <= 0.0031308, seen * 12.92, 1.055 * seen ** (1 / 2.4) - 0.055)
    return rgb2lab(back.reshape(1, -1, 3))[0]


@pytest.mark.parametrize("eye", EYES)
def test_grey_stays_grey_in_every_simulated_eye(eye):
    lab = seen_lab(["#000000", "#777777", "#ffffff"], eye)
    assert np.abs(lab[:, 1:]).max() < 0.5
    assert lab[[0, 2], 0] == pytest.approx([0.0, 100.0], abs=0.1)


PALETTES = {
    "feed and vent": (FEED, VENT),
    "feed and air": (FEED, AIR),
    "last spot and feed": (LAST, FEED),
    "curve": (INK, BLUE, VERMILION),
    "limits": (BLUE, VERMILION, GREY),
}


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_colours_are_told_apart_by_every_eye(eye, palette):
    lab = seen_lab(palette, eye)
    for one, two in itertools.combinations(range(len(palette)), 2):
        assert np.linalg.norm(lab[one] - lab[two]) > APART, (palette[one], palette[two])


@pytest.mark.parametrize("eye", EYES)
def test_panels_whose_colours_are_alike_have_another_dash_and_another_sign(eye):
    styles = [line_style(place) for place in range(5)]
    lab = seen_lab([style.colour for style in styles], eye)
    for one, two in itertools.combinations(range(5), 2):
        apart = np.linalg.norm(lab[one] - lab[two]) > APART
        other_line = styles[one].dash != styles[two].dash
        assert apart or (other_line and styles[one].marker != styles[two].marker)


def test_feed_and_vent_are_told_apart_in_grey():
    feed, vent = seen_lab((FEED, VENT), "usual")[:, 0]
    assert abs(feed - vent) > FAINT


@pytest.mark.parametrize("eye", EYES)
def test_the_margin_map_gets_lighter_with_every_minute_left(eye):
    light = seen_lab(GEL(np.linspace(0, 1, 21)), eye)[:, 0]
    assert light[0] < light[-1] - 50
    assert np.all(np.diff(light) > 0)


@pytest.mark.parametrize("share", [0.2, 0.5, 1.0])
def test_as_many_minutes_late_and_left_differ_in_grey(share):
    late, left = seen_lab(GEL([0.5 - share / 2, 0.5 + share / 2]), "usual")[:, 0]
    assert left - late > FAINT
