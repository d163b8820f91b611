"""Text set by hand in a PDF: letters the font has, lines that fit a width.

Tested in tests/analysis/record/render/test_pdf.py.
"""

from __future__ import annotations

import functools

from matplotlib.font_manager import FontProperties, findfont, get_font

MM_PER_PT = 25.4 / 72


def printable(text: str) -> str:
    """Replace what the PDF's font cannot show by a question mark.

    Examples
    --------
    >>> printable("K × 10⁻¹¹ m², roof \\u5c4b")
    'K × 10⁻¹¹ m², roof ?'
    """
    known = get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap()
    return "".join(c if ord(c) in known or c in "\n\t" else "?" for c in text)


@functools.cache
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter as a share of the letter size."""
    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight_name(bold))))
    font.set_size(100.0, 72.0)
    glyph = font.load_char(ord(letter))
    return float(glyph.linearHoriAdvance) / (65536 * 100)


def weight_name(bold: bool) -> str:
    """Return the font weight as matplotlib names it."""
    return "bold" if bold else "normal"


def wrap(text: str, wide_mm: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break text into lines that fit a width; a word too long for one is cut.

    Parameters
    ----------
    text : str
        May hold line breaks, which are kept.
    wide_mm, size_pt : float
        Room and letter size.
    bold : bool
        Whether it is set in bold.

    Returns
    -------
    lines : list of str
    """
    room = wide_mm / (size_pt * MM_PER_PT)

    def fits(words: str) -> bool:
        return sum(_advance(letter, bold) for letter in words) <= room

    lines: list[str] = []
    for paragraph in printable(text).expandtabs(4).split("\n"):
        line = ""
        for word in paragraph.split(" "):
            longer = f"{line} {word}" if line else word
            if fits(longer):
                line = longer
                continue
            if line:
                lines.append(line)
            line = word
            while line and not fits(line):
                cut = max(1, sum(fits(line[:n]) for n in range(1, len(line))))
                lines.append(line[:cut])
                line = line[cut:]
        lines.append(line)
    return lines
