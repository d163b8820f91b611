"""Flow media and layers: one stack out of many, and how far the media runs ahead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.panel.records import Media, Stack


@dataclass(frozen=True)
class Layer:
    """One layer: thickness (m), in-plane permeability (m2), porosity."""

    thickness_m: float
    k_m2: float
    porosity: float


def lumped(layers: Sequence[Layer]) -> Layer:
    """Thickness-weighted stack: K and porosity are means weighted by thickness.

    Holds while the lead of the front in one layer over another is short against the distance run.

    Source: layers in parallel under one pressure gradient (textbook).
    """
    thickness = sum(layer.thickness_m for layer in layers)
    return Layer(
        thickness,
        sum(layer.thickness_m * layer.k_m2 for layer in layers) / thickness,
        sum(layer.thickness_m * layer.porosity for layer in layers) / thickness,
    )


def media_permeability(k_with_m2: float, media: Layer, stack: Layer) -> float:
    """Media's own permeability from two panels, with and without it.

    Parameters
    ----------
    k_with_m2 : float
        Permeability of the panel with media, fitted with the porosity of media and stack together.
    media : Layer
        Thickness and porosity of the media (its `k_m2` is not used).
    stack : Layer
        The stack, with the permeability of the panel without media.

    Raises
    ------
    ValueError
        If the panel with media is no faster than the stack lets it be.
    """
    total = media.thickness_m + stack.thickness_m
    k = (k_with_m2 * total - stack.thickness_m * stack.k_m2) / media.thickness_m
    if k <= 0:
        raise ValueError(
            "the panel with media is slower than the stack alone would be: check which is which"
        )
    return k


def lead_length(
    media: Layer, stack_thickness_m: float, stack_porosity: float, kz_m2: float
) -> float:
    """Lead of the front in the media over the front at the tool face.

    ``l = 3 sqrt(h1 K1 / (p2 Kz)) (sqrt(p1 h1 + 2/3 p2 h2) - sqrt(p1 h1))``: a zone that travels
    without changing shape, no in-plane flow in the stack, resin soaking straight down. It does
    not depend on time, pressure or viscosity.

    Parameters
    ----------
    media : Layer
        h1, K1, p1.
    stack_thickness_m, stack_porosity, kz_m2 : float
        h2, p2 and the through-thickness permeability of the stack.

    Notes
    -----
    Source: worked out from Darcy's law in both layers; the problem is that of Hsiao et al. 2000,
    J. Manuf. Sci. Eng. 122, 463 (from memory). Compared with a two-dimensional solution it is
    about 4 % long.

    Examples
    --------
    >>> round(lead_length(Layer(1e-3, 5e-9, 0.8), 3e-3, 0.5, 1e-12), 5)
    0.13416
    """
    h1, p1 = media.thickness_m, media.porosity
    p2h2 = stack_porosity * stack_thickness_m
    reach = 3.0 * np.sqrt(h1 * media.k_m2 / (stack_porosity * kz_m2))
    return float(reach * (np.sqrt(p1 * h1 + 2.0 / 3.0 * p2h2) - np.sqrt(p1 * h1)))


def whole_porosity(stack: Stack) -> float | None:
    """Porosity of stack and flow media together, weighted by thickness.

    The stack's own where there is no media, or its thickness is not known.
    """
    media, porosity = stack.media, stack.porosity
    if media is None or porosity is None or stack.thickness_m is None:
        return porosity
    together = [
        Layer(media.thickness_m, 0.0, media.porosity),
        Layer(stack.thickness_m, 0.0, porosity),
    ]
    return lumped(together).porosity


def tool_lag_m(stack: Stack, k_m2: float | None) -> float | None:
    """Find how far the front at the tool lags behind the front that the camera sees.

    Parameters
    ----------
    stack : Stack
        What somebody measured (``media.lead_m``) goes first.
    k_m2 : float or None
        Fitted permeability of stack and media together. It bounds the media's own where that is
        not known: at most all of the flow is in the media.

    Returns
    -------
    lag_m : float or None
        0 without flow media; None where too little is known.
    """
    media = stack.media
    if media is None:
        return 0.0
    if media.lead_m is not None:
        return media.lead_m
    thickness_m, own = stack.thickness_m, media.k_m2
    if thickness_m is None or stack.porosity is None or stack.kz_m2 is None:
        return None
    if own is None and k_m2 is not None:
        own = k_m2 * (media.thickness_m + thickness_m) / media.thickness_m
    return None if own is None else media_lead(media, own, stack, thickness_m, stack.kz_m2)


@dataclass(frozen=True)
class MediaFacts:
    """What a panel with media says beside one without; None where something is not known.

    `ratio` is speed with over speed without, `k_m2` the media's own permeability, `lead_m` how
    far the front in the media runs ahead of the front at the tool.
    """

    ratio: float
    k_m2: float | None
    lead_m: float | None


def media_facts(with_media: Stack, k_with_m2: float, stack: Stack, k_m2: float) -> MediaFacts:
    """Compare a panel with media and one without.

    Parameters
    ----------
    with_media : Stack
        Lay-up of the panel with media.
    k_with_m2 : float
        Its fitted permeability, of stack and media together.
    stack : Stack
        Lay-up of the panel without.
    k_m2 : float
        Its fitted permeability.

    Raises
    ------
    ValueError
        If a porosity is missing, or the panel with media is the slower one.
    """
    porosity_with, porosity = whole_porosity(with_media), stack.porosity
    if porosity_with is None or porosity is None:
        raise ValueError("both panels need [stack] porosity")
    ratio = (k_with_m2 / porosity_with) / (k_m2 / porosity)
    media, thickness = with_media.media, with_media.thickness_m or stack.thickness_m
    if media is None or thickness is None:
        return MediaFacts(ratio, None, None)
    own = media_permeability(
        k_with_m2,
        Layer(media.thickness_m, 0.0, media.porosity),
        Layer(thickness, k_m2, porosity),
    )
    kz = with_media.kz_m2 or stack.kz_m2
    return MediaFacts(
        ratio, own, None if kz is None else media_lead(media, own, stack, thickness, kz)
    )


def media_lead(media: Media, k_m2: float, stack: Stack, thickness_m: float, kz_m2: float) -> float:
    """Lead of the media front for a stack record; see `lead_length`."""
    layer = Layer(media.thickness_m, k_m2, media.porosity)
    return lead_length(layer, thickness_m, stack.porosity or 0.5, kz_m2)
