"""The blocks that a report is made of, apart from how they look.

Tested in tests/analysis/record/story/test_report.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.record.content import TableRow, VerdictWords


@dataclass(frozen=True)
class Table:
    """Rows of a name, a value and a remark; `head` names the columns where they need it."""

    rows: tuple[TableRow, ...]
    head: tuple[str, ...] = ()


@dataclass(frozen=True)
class Grid:
    """A table of short cells in any number of columns; `wide` is the column that takes the rest."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: int = -1


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Bullets:
    """A list."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A PNG, JPEG or SVG file with what it shows; `half` may stand two to a row."""

    data: bytes
    caption: str
    tallest_mm: float = 130.0
    half: bool = False


@dataclass(frozen=True)
class Blanks:
    """Lines to write on by hand."""

    labels: tuple[str, ...]


@dataclass(frozen=True)
class Code:
    """A file as it is, in letters of one width."""

    text: str


@dataclass(frozen=True)
class Hashes:
    """Files with the hash of each."""

    hashes: tuple[tuple[str, str], ...]


Block = Table | Grid | Words | Bullets | Picture | Blanks | Code | Hashes


@dataclass(frozen=True)
class Section:
    """A heading with its blocks; `boxed` sets it in a frame."""

    name: str
    blocks: tuple[Block, ...]
    boxed: bool = False


@dataclass(frozen=True)
class Report:
    """One panel's record.

    Attributes
    ----------
    title : str
        The panel's name.
    about : str
        One line below it.
    verdict : VerdictWords
    numbers : tuple of str
        The few numbers that stand with the verdict.
    sections : tuple of Section
        In the order of the day.
    version : str
        Of Wetline.
    """

    title: str
    about: str
    verdict: VerdictWords
    numbers: tuple[str, ...]
    sections: tuple[Section, ...]
    version: str = ""
