"""A drawdown in words: for the screen, and as lines for panel.toml.

Tested in tests/analysis/shop/test_drawdown.py.
"""

from __future__ import annotations

from analysis.panel.tables.gauge_units import STANDARD_MBAR, VACUUM
from analysis.shop.drawdown import HIDING_PLACES, Drawdown


def panel_lines(found: Drawdown, ambient_mbar: float | None, unit: str = "mbar") -> list[str]:
    """Return lines to put into panel.toml.

    Parameters
    ----------
    found : Drawdown
    ambient_mbar : float or None
        Air pressure in the shop; None where nobody has stated it: then it is left to fill in, or
        not needed, for a gauge that counts down from it.
    unit : str
        What the gauge shows, one of `analysis.panel.tables.gauge_units.UNITS`.
    """
    bag = f"bag_mbar = {found.start_mbar:.1f}"
    if ambient_mbar is not None:
        return ["[vacuum]", f"ambient_mbar = {ambient_mbar:.0f}", bag]
    if unit in VACUUM:
        drive = STANDARD_MBAR - found.start_mbar
        return ["[vacuum]", f"pressure_difference_mbar = {drive:.1f}"]
    return [
        "[vacuum]",
        "# ambient_mbar =   # air pressure in the shop: read it and fill it in",
        bag,
    ]


def drawdown_lines(found: Drawdown, ambient_mbar: float | None, unit: str = "mbar") -> list[str]:
    """Write verdict and numbers in plain lines; the parameters are those of `panel_lines`."""
    lines = [
        f"{found.verdict.upper()}: {found.reason}",
        f"Shape:      {found.shape}; rose {found.measured_rise_mbar:.1f} mbar in "
        f"{found.log_min:.1f} min from {found.start_mbar:.1f} mbar",
        f"Leak:       {found.leak_mbar_min:.3f} mbar/min (95 %: {found.leak_low_mbar_min:.3f} to "
        f"{found.leak_high_mbar_min:.3f})",
        f"Outgassing: {found.outgassing_mbar:.1f} mbar in {found.limit_min:g} min (95 %: "
        f"{found.outgassing_low_mbar:.1f} to {found.outgassing_high_mbar:.1f})",
    ]
    if found.leak_mbar_l_s is not None and found.leak_sccm is not None:
        lines.append(f"            {found.leak_mbar_l_s:.4f} mbar l/s, {found.leak_sccm:.2f} sccm")
    if found.at_gel_mbar is not None and found.at_gel_high_mbar is not None:
        lines.append(
            f"At gel:     {found.at_gel_mbar:.0f} mbar in the bag with the pump off, at most "
            f"{found.at_gel_high_mbar:.0f}"
        )
    lines += [f"Note:       {note}" for note in found.notes]
    if found.verdict != "go":
        lines.append("Leaks hide in:")
        lines += [f"- {place}" for place in HIDING_PLACES]
    lines.append(
        "A flat glass plate or a thin tool can break under vacuum: keep clear, wear eye protection."
    )
    return [*lines, "For panel.toml:", *panel_lines(found, ambient_mbar, unit)]
