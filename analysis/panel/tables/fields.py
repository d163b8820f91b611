"""The fields of every table of panel.toml, to tell a slip of the pen from a field.

Tested in tests/analysis/panel/test_new_panel.py.
"""

from __future__ import annotations

from vision.settings.frame_settings import FRAMES_FIELDS
from vision.settings.panel_settings import PANEL_FIELDS
from vision.settings.scale_settings import SCALE_FIELDS

_FIELD_NAMES = {
    "stack": "porosity porosity_sd_percent layers areal_weight_g_m2 fibre_density_kg_m3 "
    "thickness_mm compaction_exponent compaction_vf_1bar name media_thickness_mm media_porosity "
    "media_k_m2 media_lead_mm kz_m2 permeability",
    "resin": "name viscosity_mpas viscosity_sd_percent viscosity_log viscosity_doubling_min "
    "viscosity_temperature_c viscosity_2_mpas viscosity_2_temperature_c temperature_c "
    "viscosity_rise class gel_log gel_time_min gel_sd_percent gel_temperature_c "
    "gel_time_2_min gel_2_temperature_c mixed_before_start_min working_share_percent "
    "density_kg_m3 hardener_parts pot_limit_kg pot_life_min",
    "vacuum": "pressure_difference_mbar pressure_sd_percent ambient_mbar bag_mbar vacuum_gauge log",
    "part": "name flow_length_mm feed area_m2 thickness_mm fibre_fraction repeat_sd_percent "
    "feed_line resin_batch batch_sd_percent temperature_c temperature_sd_c",
}
FIELDS: dict[str, tuple[str, ...]] = {
    "panel": PANEL_FIELDS,
    "frames": FRAMES_FIELDS,
    "scale": SCALE_FIELDS,
    **{table: tuple(names.split()) for table, names in _FIELD_NAMES.items()},
}
"""Field names by table; `confirmed` goes with every table."""
