"""Colours of the record's figures.

Tested in tests/analysis/part/answer/test_figures.py.
"""

# Black, blue and vermilion of the palette by Okabe and Ito, "Color Universal Design" (2008); the
# shapes and dashes tell the same without colour.
INK = "#1a1a1a"
BLUE = "#0072b2"
VERMILION = "#b34700"
GREY = "#6b6b6b"
