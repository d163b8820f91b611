"""Pages of a PDF filled from the top: text, rules, tables, pictures, footers.

Tested in tests/analysis/record/render/test_pdf.py.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from numpy.typing import NDArray
from PIL import Image

from analysis.record.content import UNKNOWN, TableRow, VerdictWords
from analysis.record.render.html import picture_type
from analysis.record.render.pdf_text import MM_PER_PT, printable, weight_name, wrap
from analysis.record.story.blocks import Picture
from vision.common.atomic_files import replace_file

PAPERS_MM = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height (ISO 216; ANSI/ASME Y14.1, from memory)."""
MARGIN_MM = 18.0
FOOT_MM = 21.0
SYMBOLS = {"fills": "✓", "tight": "!", "gels first": "✕", "unfair test": "≠", "cannot decide": "?"}
PX_PER_MM = 5.0
"""Pixels of a picture in print: 127 to the inch."""
COLOURS = 256
"""Colours of a picture: a PDF then stores one byte for each pixel."""


AFTER_PICTURE_MM = 2.0
HALF_MM = 62.0
"""Greatest height of a small picture."""
SETTING_LETTERS = 55
"""Letters to a line of the settings, of which two columns fit the page."""
SETTING_MM, SETTING_ROWS = 3.9, 55
"""Height of a line of the settings, and the most of them one below the other."""
HASH_MM = 84.0
"""Room of a hash: 64 letters of one width, at 6 pt."""


def _size_px(data: bytes) -> tuple[int, int] | None:
    """Return width and height of a PNG or JPEG; None for anything else."""
    if picture_type(data) not in ("image/png", "image/jpeg"):
        return None
    try:
        with Image.open(io.BytesIO(data)) as image:
            return image.size
    except OSError:
        return None


def _half_mm(picture: Picture, room_mm: float) -> float:
    columns, rows = _size_px(picture.data) or (1, 1)
    tall = rows * min(room_mm / columns, HALF_MM / rows)
    return tall + 6 + AFTER_PICTURE_MM + 4.2 * len(wrap(picture.caption, room_mm, 8.5))


def _setting_lines(text: str) -> list[str]:
    return [
        line[i : i + SETTING_LETTERS]
        for line in printable(text.expandtabs(4)).split("\n")
        for i in range(0, max(len(line), 1), SETTING_LETTERS)
    ]


def settings_mm(text: str) -> float:
    """Return how tall settings stand on their first page."""
    return SETTING_MM * min(math.ceil(len(_setting_lines(text)) / 2), SETTING_ROWS)


def _pixels(data: bytes, wide_mm: float) -> NDArray[np.uint8]:
    """Decode a picture no finer than print needs, in few colours, so that the file stays small."""
    with Image.open(io.BytesIO(data)) as image:
        shown = image.convert("RGB")
    most = max(1, round(wide_mm * PX_PER_MM))
    if shown.width > most:
        size = (most, max(1, round(shown.height * most / shown.width)))
        shown = shown.resize(size, Image.Resampling.LANCZOS)
    if shown.getcolors(COLOURS) is None:
        shown = shown.quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        shown = shown.convert("RGB")
    return np.asarray(shown, np.uint8)


class Sheet:
    """Pages filled from the top; what does not fit goes to the next page whole.

    Parameters
    ----------
    title, version : str
        For the foot of each page.
    paper : str
        One of `PAPERS_MM`.
    """

    def __init__(self, title: str, version: str, paper: str = "A4") -> None:
        self.title, self.version = title, version
        self.paper_mm = PAPERS_MM[paper]
        self.wide_mm = self.paper_mm[0] - 2 * MARGIN_MM
        self.bottom_mm = self.paper_mm[1] - FOOT_MM
        self.pages: list[Figure] = []
        self.top_mm = 0.0
        self._turn()

    def _turn(self) -> None:
        page = Figure(figsize=(self.paper_mm[0] / 25.4, self.paper_mm[1] / 25.4), facecolor="white")
        FigureCanvasAgg(page)
        self.pages.append(page)
        self.top_mm = MARGIN_MM

    def need(self, tall_mm: float) -> bool:
        """Turn the page unless this much room is left; return whether it was turned."""
        if self.top_mm + tall_mm <= self.bottom_mm or self.top_mm <= MARGIN_MM:
            return False
        self._turn()
        return True

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
        font = FontProperties(family=family, weight=weight_name(bold), size=size_pt)
        self.pages[-1].text(
            left_mm / self.paper_mm[0],
            1 - (top_mm + 0.8 * size_pt * MM_PER_PT) / self.paper_mm[1],
            printable(words),
            fontproperties=font,
            color="#555555" if grey else "#1a1a1a",
            va="baseline",
            parse_math=False,
        )

    def rule(self, top_mm: float, grey: float = 0.8) -> None:
        """Draw a level line over the width."""
        x = np.array([MARGIN_MM, self.paper_mm[0] - MARGIN_MM]) / self.paper_mm[0]
        y = 1 - top_mm / self.paper_mm[1]
        self.pages[-1].add_artist(Line2D(x, [y, y], color=str(grey), lw=0.6))

    def text(
        self,
        words: str,
        size_pt: float = 9.5,
        *,
        bold: bool = False,
        grey: bool = False,
        after_mm: float = 0.0,
    ) -> None:
        """Set a paragraph."""
        step = 1.42 * size_pt * MM_PER_PT
        for line in wrap(words, self.wide_mm, size_pt, bold=bold):
            self.need(step)
            self.put(line, MARGIN_MM, self.top_mm, size_pt, bold=bold, grey=grey)
            self.top_mm += step
        self.top_mm += after_mm

    def heading(self, words: str, after_mm: float = 20.0) -> None:
        """Set a heading that keeps `after_mm` of what follows on its page."""
        self.need(10.0 + after_mm)
        self.top_mm += 4.5
        self.put(words, MARGIN_MM, self.top_mm, 11, bold=True)
        self.top_mm += 6.5

    def verdict(self, verdict: VerdictWords, numbers: Sequence[str] = ()) -> None:
        """Set the verdict in a frame: symbol, word, sentence, reason, numbers, next step."""
        inner = self.wide_mm - 30
        self.top_mm += 3
        start = self.top_mm
        row = start + 4
        for words, size, bold, grey in (
            (f"Verdict: {verdict.label}", 9.5, True, True),
            (verdict.headline, 16, True, False),
            (verdict.reason, 9.5, False, False),
            *((text, 9.5, True, False) for text in numbers),
            (verdict.next_step, 9.5, False, False),
        ):
            for line in wrap(words, inner, size, bold=bold):
                self.put(line, MARGIN_MM + 25, row, size, bold=bold, grey=grey)
                row += 1.42 * size * MM_PER_PT
            row += 1.2
        self.put(SYMBOLS[verdict.word], MARGIN_MM + 7, start + 6, 34, bold=True)
        tall = row - start + 2
        corner = (MARGIN_MM / self.paper_mm[0], 1 - (start + tall) / self.paper_mm[1])
        size_share = (self.wide_mm / self.paper_mm[0], tall / self.paper_mm[1])
        frame = Rectangle(corner, *size_share, fill=False, ec="#1a1a1a", lw=1.6)
        frame.set_transform(self.pages[-1].transFigure)
        self.pages[-1].add_artist(frame)
        self.top_mm = start + tall + 2

    def table(self, rows: Sequence[TableRow], head: Sequence[str] = ()) -> None:
        """Set a table of up to three columns; a row stays whole."""
        wide = [0.38 * self.wide_mm, 0.22 * self.wide_mm, 0.40 * self.wide_mm]
        if not any(row.more for row in rows):
            wide = [wide[0], self.wide_mm - wide[0], 0.0]
        cells = [
            (row.name, row.value, row.more) if wide[2] else (row.name, row.value) for row in rows
        ]
        wide = wide[: len(cells[0])] if cells else wide
        heavy = [wide[-1] > 0 and len(wide) > 2 and row.value != UNKNOWN for row in rows]
        self._rows(head[: len(wide)], cells, wide, heavy)

    def grid(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Set a table of short columns; the last takes the rest where there are few."""
        few = len(head) <= 3
        each = 24.0 if few else self.wide_mm / len(head)
        wide = [each] * len(head)
        if few:
            wide[-1] = self.wide_mm - each * (len(head) - 1)
        self._rows(head, rows, wide, [False] * len(rows))
        self.top_mm += 2

    def _rows(
        self,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        wide: Sequence[float],
        heavy: Sequence[bool],
    ) -> None:
        left = MARGIN_MM + np.r_[0.0, np.cumsum(wide[:-1])]

        def set_head() -> None:
            for words, x in zip(head, left, strict=False):
                self.put(words, float(x), self.top_mm, 8, grey=True)
            self.top_mm += 5 if head else 0
            if head:
                self.rule(self.top_mm, 0.3)

        for number, (row, strong) in enumerate(zip(rows, heavy, strict=True)):
            cells = [
                wrap(words, room - 3, 9, bold=strong and i == 1) if words else []
                for i, (words, room) in enumerate(zip(row, wide, strict=True))
            ]
            tall = 4.4 * max(1, *(len(cell) for cell in cells)) + 1.8
            # A head never stands alone at the foot.
            if self.need(max(tall + 5, 12.0) if number == 0 else tall) or number == 0:
                set_head()
            for i, (cell, x) in enumerate(zip(cells, left, strict=True)):
                for k, line in enumerate(cell):
                    top = self.top_mm + 1 + 4.4 * k
                    self.put(line, float(x), top, 9, bold=strong and i == 1)
            self.top_mm += tall
            self.rule(self.top_mm)
        self.top_mm += 1.5

    def bullets(self, texts: Iterable[str]) -> None:
        """Set a list; no item is split over pages."""
        for words in texts:
            lines = wrap(words, self.wide_mm - 5, 9)
            self.need(4.5 * len(lines))
            self.put("•", MARGIN_MM, self.top_mm, 9)
            for line in lines:
                self.put(line, MARGIN_MM + 5, self.top_mm, 9)
                self.top_mm += 4.5
            self.top_mm += 0.8

    def picture_mm(self, data: bytes, caption: str, tallest_mm: float) -> float:
        """Return the height that a picture takes with its caption."""
        size = _size_px(data)
        if size is None:
            return 0.0
        shrink = min(self.wide_mm / size[0], tallest_mm / size[1])
        return size[1] * shrink + 6 + AFTER_PICTURE_MM + 4.2 * len(wrap(caption, self.wide_mm, 8.5))

    def picture(self, data: bytes, caption: str, tallest_mm: float = 130.0) -> None:
        """Set a picture with its caption; what is no PNG or JPEG is left out."""
        if _size_px(data) is None:
            return
        self.need(self.picture_mm(data, caption, tallest_mm))
        self._picture(data, caption, MARGIN_MM, self.wide_mm, tallest_mm)

    def photos(self, pictures: Sequence[Picture]) -> None:
        """Set small pictures two to a row."""
        shown = [one for one in pictures if _size_px(one.data) is not None]
        room = (self.wide_mm - 6) / 2
        for start in range(0, len(shown), 2):
            pair = shown[start : start + 2]
            tall = max(_half_mm(one, room) for one in pair)
            self.need(tall)
            top = self.top_mm
            for i, one in enumerate(pair):
                self.top_mm = top
                self._picture(one.data, one.caption, MARGIN_MM + i * (room + 6), room, HALF_MM)
            self.top_mm = top + tall

    def _picture(
        self, data: bytes, caption: str, left_mm: float, room_mm: float, tallest_mm: float
    ) -> None:
        columns, rows = _size_px(data) or (1, 1)
        shrink = min(room_mm / columns, tallest_mm / rows)
        wide, tall = columns * shrink, rows * shrink
        self.top_mm += 4
        left = left_mm + (room_mm - wide) / 2
        page_w, page_h = self.paper_mm
        place = (left / page_w, 1 - (self.top_mm + tall) / page_h)
        axes = self.pages[-1].add_axes((*place, wide / page_w, tall / page_h))
        axes.imshow(_pixels(data, wide), aspect="auto", interpolation="none")
        axes.set_axis_off()
        self.top_mm += tall + 1
        for line in wrap(caption, room_mm, 8.5):
            self.put(line, left_mm, self.top_mm, 8.5, grey=True)
            self.top_mm += 4.2
        self.top_mm += AFTER_PICTURE_MM

    def blanks(self, labels: Sequence[str]) -> None:
        """Set lines to write on by hand."""
        for label in labels:
            self.need(13.0)
            self.put(label, MARGIN_MM, self.top_mm, 8, grey=True)
            self.top_mm += 12.5
            self.rule(self.top_mm - 0.8, 0.5)

    def settings(self, text: str) -> None:
        """Set the settings in two columns, in letters of one width."""
        lines = _setting_lines(text)
        rows = min(math.ceil(len(lines) / 2), SETTING_ROWS)
        for start in range(0, len(lines), 2 * rows):
            self.need(SETTING_MM * rows)
            for i, line in enumerate(lines[start : start + 2 * rows]):
                left = MARGIN_MM + (i // rows) * self.wide_mm / 2
                self.put(line, left, self.top_mm + SETTING_MM * (i % rows), 7, mono=True)
            self.top_mm += SETTING_MM * rows

    def hashes(self, hashes: Iterable[tuple[str, str]]) -> None:
        """Set file names with their hashes, one to a line."""
        room = self.wide_mm - HASH_MM
        for name, digest in hashes:
            lines = wrap(name, room - 2, 6.5)
            self.need(2.9 * len(lines))
            self.put(digest, MARGIN_MM + room, self.top_mm, 6, mono=True)
            for line in lines:
                self.put(line, MARGIN_MM, self.top_mm, 6.5)
                self.top_mm += 2.9

    def save(self, path: Path) -> int:
        """Write all pages with their footers; give their number."""
        footer = f"{self.title}    Wetline {self.version}".rstrip()
        last = len(self.pages)
        for i, page in enumerate(self.pages):
            mark = f"page {i + 1} of {last}"
            y = 1 - (self.paper_mm[1] - 10) / self.paper_mm[1]
            style: dict[str, Any] = {"fontsize": 8, "color": "#555555", "parse_math": False}
            page.text(MARGIN_MM / self.paper_mm[0], y, printable(footer)[:90], **style)
            page.text(1 - MARGIN_MM / self.paper_mm[0], y, mark, ha="right", **style)

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
