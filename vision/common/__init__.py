"""Whole-or-nothing files, checked TOML, robust statistics, progress: no picture, no panel."""
