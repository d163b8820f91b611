"""The record of one panel as a PDF of A4 pages, with the same content as the HTML page."""

from __future__ import annotations

import functools
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.image import imread
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from analysis.forecast.panel_answer import PanelAnswer
from analysis.record.content import (
    CAUTIONS,
    DEMOULD_NOTES,
    UNKNOWN,
    TableRow,
    VerdictWords,
    assumptions_of,
    fairness_rows,
    key_rows,
    panel_rows,
    scale_rows,
    verdict_words,
    warnings_of,
)
from analysis.record.html import CAPTIONS, picture_type
from vision.common.atomic_files import replace_file

A4_MM = (210.0, 297.0)
MARGIN_MM = 18.0
WIDE_MM = A4_MM[0] - 2 * MARGIN_MM
BOTTOM_MM = 276.0
MM_PER_PT = 25.4 / 72
SYMBOLS = {"fills": "✓", "tight": "!", "gels first": "✕", "unfair test": "≠", "cannot decide": "?"}


def write_pdf(
    path: Path,
    answer: PanelAnswer,
    pictures: Mapping[str, bytes],
    settings_text: str,
    *,
    version: str = "",
    made: str = "",
) -> int:
    """Write the record as a PDF in one step.

    Parameters
    ----------
    path : Path
        The file to write.
    answer, pictures, settings_text, version, made
        As in `analysis.record.html.build_report`; SVG pictures are left out here.

    Returns
    -------
    pages : int

    Raises
    ------
    WetlineError
        If the file cannot be written.
    """
    title = answer.panel.name
    sheet = Sheet(title, version)
    sheet.text(title, 15, bold=True)
    sheet.text("Infusion test panel" + (f", {made}" if made else ""), 9, grey=True)
    sheet.verdict(verdict_words(answer))
    sheet.table("Key numbers", key_rows(answer), "95 % interval or remark")
    extra = [name for name in pictures if name not in CAPTIONS]
    for name in ("unexplained", "front_lines", "curve", "squared", "plan", *extra):
        caption = CAPTIONS.get(name, name.replace("_", " "))
        sheet.picture(pictures.get(name, b""), caption, 150.0 if name == "plan" else 130.0)
    sheet.table("How fair was the test?", fairness_rows(answer))
    sheet.bullets("Warnings", warnings_of(answer) or ["No warnings."])
    sheet.table("What was tested", panel_rows(answer))
    sheet.table("Scale", scale_rows(answer))
    sheet.bullets("What was assumed", assumptions_of(answer))
    sheet.bullets("Cautions", CAUTIONS)
    sheet.blanks("Notes after demoulding", DEMOULD_NOTES)
    sheet.settings("Settings (panel.toml)", settings_text)
    return sheet.save(path)


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
    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight=_weight(bold))))
    font.set_size(100.0, 72.0)
    glyph = font.load_char(ord(letter))
    return float(glyph.linearHoriAdvance) / (65536 * 100)


def _weight(bold: bool) -> str:
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


class Sheet:
    """A4 pages filled from the top; what does not fit goes to the next page whole."""

    def __init__(self, title: str, version: str) -> None:
        self.title, self.version = title, version
        self.pages: list[Figure] = []
        self.top_mm = 0.0
        self._turn()

    def _turn(self) -> None:
        page = Figure(figsize=(A4_MM[0] / 25.4, A4_MM[1] / 25.4), facecolor="white")
        FigureCanvasAgg(page)
        self.pages.append(page)
        self.top_mm = MARGIN_MM

    def need(self, tall_mm: float) -> None:
        """Turn the page unless this much room is left."""
        if self.top_mm + tall_mm > BOTTOM_MM and self.top_mm > MARGIN_MM:
            self._turn()

    def put(
        self,
        words: str,
        left_mm: float,
        top_mm: float,
        size_pt: float,
        *,
        bold: bool = False,
        grey: bool = False,
        mono: bool = False,
    ) -> None:
        """Set one line of text with its top at a place of the page."""
        family = "DejaVu Sans Mono" if mono else "DejaVu Sans"
        font = FontProperties(family=family, weight=_weight(bold), size=size_pt)
        self.pages[-1].text(
            left_mm / A4_MM[0],
            1 - (top_mm + 0.8 * size_pt * MM_PER_PT) / A4_MM[1],
            printable(words),
            fontproperties=font,
            color="#555555" if grey else "#1a1a1a",
            va="baseline",
            parse_math=False,
        )

    def rule(self, top_mm: float, grey: float = 0.8) -> None:
        """Draw a level line over the width."""
        x = np.array([MARGIN_MM, A4_MM[0] - MARGIN_MM]) / A4_MM[0]
        y = 1 - top_mm / A4_MM[1]
        self.pages[-1].add_artist(Line2D(x, [y, y], color=str(grey), lw=0.6))

    def text(
        self, words: str, size_pt: float = 9.5, *, bold: bool = False, grey: bool = False
    ) -> None:
        """Set a paragraph."""
        step = 1.42 * size_pt * MM_PER_PT
        for line in wrap(words, WIDE_MM, size_pt, bold=bold):
            self.need(step)
            self.put(line, MARGIN_MM, self.top_mm, size_pt, bold=bold, grey=grey)
            self.top_mm += step

    def heading(self, words: str, after_mm: float = 20.0) -> None:
        """Set a heading that keeps `after_mm` of what follows on its page."""
        self.need(10.0 + after_mm)
        self.top_mm += 4.5
        self.put(words, MARGIN_MM, self.top_mm, 11, bold=True)
        self.top_mm += 6.5

    def verdict(self, verdict: VerdictWords) -> None:
        """Set the verdict in a frame: symbol, word, sentence, reason, next step."""
        inner = WIDE_MM - 30
        self.top_mm += 3
        start = self.top_mm
        row = start + 4
        for words, size, bold, grey in (
            (f"Verdict: {verdict.label}", 9.5, True, True),
            (verdict.headline, 16, True, False),
            (verdict.reason, 9.5, False, False),
            (verdict.next_step, 9.5, False, False),
        ):
            for line in wrap(words, inner, size, bold=bold):
                self.put(line, MARGIN_MM + 25, row, size, bold=bold, grey=grey)
                row += 1.42 * size * MM_PER_PT
            row += 1.2
        self.put(SYMBOLS[verdict.word], MARGIN_MM + 7, start + 6, 34, bold=True)
        tall = row - start + 2
        corner = (MARGIN_MM / A4_MM[0], 1 - (start + tall) / A4_MM[1])
        size_share = (WIDE_MM / A4_MM[0], tall / A4_MM[1])
        frame = Rectangle(corner, *size_share, fill=False, ec="#1a1a1a", lw=1.6)
        frame.set_transform(self.pages[-1].transFigure)
        self.pages[-1].add_artist(frame)
        self.top_mm = start + tall + 2

    def table(self, name: str, rows: Sequence[TableRow], more: str = "") -> None:
        """Set a table of up to three columns, whole where it fits a page."""
        if not rows:
            return
        self.heading(name, min(9.0 * len(rows), 90.0))
        wide = [66.0, 38.0, WIDE_MM - 104.0]
        if not any(row.more for row in rows):
            wide = [66.0, WIDE_MM - 66.0, 0.0]
        left = MARGIN_MM + np.r_[0.0, np.cumsum(wide[:2])]
        if more and wide[2] > 0:
            self.put("Value", float(left[1]), self.top_mm, 8, grey=True)
            self.put(more, float(left[2]), self.top_mm, 8, grey=True)
            self.top_mm += 5
        for row in rows:
            strong = wide[2] > 0 and row.value != UNKNOWN
            heavy = (False, strong, False)
            cells = [
                wrap(words, room - 3, 9, bold=bold) if words else []
                for words, room, bold in zip(
                    (row.name, row.value, row.more), wide, heavy, strict=True
                )
            ]
            tall = 4.4 * max(len(cell) for cell in cells) + 1.8
            self.need(tall)
            for cell, x, bold in zip(cells, left, heavy, strict=True):
                for i, line in enumerate(cell):
                    self.put(line, float(x), self.top_mm + 1 + 4.4 * i, 9, bold=bold)
            self.top_mm += tall
            self.rule(self.top_mm)

    def bullets(self, name: str, texts: Iterable[str]) -> None:
        """Set a heading with a list; no item is split over pages."""
        self.heading(name)
        for words in texts:
            lines = wrap(words, WIDE_MM - 5, 9)
            self.need(4.5 * len(lines))
            self.put("•", MARGIN_MM, self.top_mm, 9)
            for line in lines:
                self.put(line, MARGIN_MM + 5, self.top_mm, 9)
                self.top_mm += 4.5
            self.top_mm += 0.8

    def picture(self, data: bytes, caption: str, tallest_mm: float = 130.0) -> None:
        """Set a picture with its caption; what is no PNG or JPEG is left out."""
        kind = picture_type(data)
        if kind not in ("image/png", "image/jpeg"):
            return
        pixels = imread(io.BytesIO(data), format=kind.removeprefix("image/"))
        if pixels.dtype != np.uint8:  # a PNG is read as shares of 1
            pixels = np.rint(pixels * 255).astype(np.uint8)
        lines = wrap(caption, WIDE_MM, 8.5)
        shrink = min(WIDE_MM / pixels.shape[1], tallest_mm / pixels.shape[0])
        wide, tall = pixels.shape[1] * shrink, pixels.shape[0] * shrink
        self.need(tall + 5 + 4.2 * len(lines))
        self.top_mm += 4
        left = (A4_MM[0] - wide) / 2
        place = (left / A4_MM[0], 1 - (self.top_mm + tall) / A4_MM[1])
        axes = self.pages[-1].add_axes((*place, wide / A4_MM[0], tall / A4_MM[1]))
        axes.imshow(pixels, cmap="gray", aspect="auto", interpolation="none")
        axes.set_axis_off()
        self.top_mm += tall + 1
        for line in lines:
            self.put(line, MARGIN_MM, self.top_mm, 8.5, grey=True)
            self.top_mm += 4.2

    def blanks(self, name: str, labels: Sequence[str]) -> None:
        """Set lines to write on by hand."""
        self.heading(name, 13.0 * len(labels))
        for label in labels:
            self.put(label, MARGIN_MM, self.top_mm, 8, grey=True)
            self.top_mm += 12.5
            self.rule(self.top_mm - 0.8, 0.5)

    def settings(self, name: str, text: str) -> None:
        """Set the settings in two columns, in letters of one width."""
        lines = [
            line[i : i + 58]
            for line in text.strip().expandtabs(4).split("\n")
            for i in range(0, max(len(line), 1), 58)
        ]
        rows = min(math.ceil(len(lines) / 2), 55)
        self.heading(name, 3.9 * rows)
        for start in range(0, len(lines), 2 * rows):
            self.need(3.9 * rows)
            for i, line in enumerate(lines[start : start + 2 * rows]):
                left = MARGIN_MM + (i // rows) * WIDE_MM / 2
                self.put(line, left, self.top_mm + 3.9 * (i % rows), 7, mono=True)
            self.top_mm += 3.9 * rows

    def save(self, path: Path) -> int:
        """Write all pages with their footers; give their number."""
        footer = f"{self.title}    Wetline {self.version}".rstrip()
        last = len(self.pages)
        for i, page in enumerate(self.pages):
            mark = f"page {i + 1} of {last}"
            y = 1 - 287 / A4_MM[1]
            style: dict[str, Any] = {"fontsize": 8, "color": "#555555", "parse_math": False}
            page.text(MARGIN_MM / A4_MM[0], y, printable(footer)[:90], **style)
            page.text(1 - MARGIN_MM / A4_MM[0], y, mark, ha="right", **style)

        def write(part: Path) -> None:
            about = {"Title": self.title, "CreationDate": None, "Creator": "Wetline"}
            with (
                matplotlib.rc_context({"pdf.fonttype": 3, "pdf.compression": 3}),
                PdfPages(part, metadata=about) as pages,
            ):
                for page in self.pages:
                    pages.savefig(page)

        replace_file(path, write)
        return last
