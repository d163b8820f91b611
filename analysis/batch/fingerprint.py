"""Whether a panel's results still stand for what lies in its folder."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import analysis
import vision
from analysis.part.part_folder import MAP, NUMBERS, PAGE, TABLE, is_part
from vision.common.atomic_files import write_json
from vision.common.outside.input_files import file_hash, read_text
from vision.errors import WetlineError

FILE = "fingerprint.json"
LIBRARIES = (
    "wetline", "numpy", "scipy", "opencv-python", "scikit-image", "matplotlib", "pillow",
    "pillow-heif",
)  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """The files that a panel's or a part's results are.

    Attributes
    ----------
    numbers, page, report : str
        The answer as JSON, the page to look at, and the PDF where one is wanted.
    hashed : tuple of str
        Those that hold numbers: another command may have written them since.
    needed : tuple of str
    """

    numbers: str
    page: str
    report: str
    hashed: tuple[str, ...]
    needed: tuple[str, ...]


PANEL = Kind(
    "results.json",
    "report.html",
    "report.pdf",
    ("results.json", "front.csv", "arrival.npz"),
    ("results.json", "front.csv", "report.html"),
)
PART = Kind(NUMBERS, PAGE, "part_record.pdf", (NUMBERS, TABLE, MAP), (NUMBERS, TABLE, MAP, PAGE))


def kind_of(folder: Path) -> Kind:
    """Return whether a folder's results are those of a part or a panel."""
    return PART if is_part(folder) else PANEL


@dataclass(frozen=True)
class Fingerprint:
    """What results were made from.

    Attributes
    ----------
    inputs : mapping of str to str
        SHA-256 of each input file.
    made_by : mapping of str to str
        Versions of Wetline and its libraries, and a hash of Wetline's own code.
    """

    inputs: Mapping[str, str]
    made_by: Mapping[str, str]


@cache
def made_by() -> dict[str, str]:
    """Return the versions that a result depends on, and the SHA-256 of Wetline's own code."""
    digest = hashlib.sha256()
    for package in (vision, analysis):
        root = Path(str(package.__file__)).parent
        for path in sorted(root.rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return {name: _version(name) for name in LIBRARIES} | {"code": digest.hexdigest()}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def write_fingerprint(folder: Path, fingerprint: Fingerprint) -> None:
    """Write what the results of a panel folder were made from, beside them."""
    document = {
        "made_by": dict(fingerprint.made_by),
        "inputs": dict(fingerprint.inputs),
        "results": _results(folder),
    }
    write_json(folder / "results" / FILE, document)


def drop_fingerprint(folder: Path) -> None:
    """Take the fingerprint away, before the results change.

    Raises
    ------
    WetlineError
        If the results cannot be written to.
    """
    path = folder / "results" / FILE
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise WetlineError(f"{path}: cannot be written ({error.strerror})") from error


def why_again(folder: Path, now: Fingerprint, pdf: bool = False) -> str:
    """Return why a panel or part must be done again; empty where its results still stand.

    Parameters
    ----------
    folder : Path
        Of the panel or part.
    now : Fingerprint
        Of what lies there now.
    pdf : bool
        Whether the PDF is wanted too.
    """
    results, kind = folder / "results", kind_of(folder)
    if not (results / kind.numbers).is_file():
        return "new"
    then = _read(results / FILE)
    if then is None:
        return "not known what its results were made from"
    changed = _difference(then["inputs"], now.inputs)
    if changed:
        return changed
    if then["made_by"] != dict(now.made_by):
        return "Wetline or a library has changed"
    missing = [n for n in (*kind.needed, *[kind.report] * pdf) if not (results / n).is_file()]
    if missing:
        return f"{missing[0]} is missing"
    still = _results(folder)
    other = [name for name in kind.hashed if then["results"].get(name) != still.get(name)]
    return f"{other[0]} was written by something else since" if other else ""


def _results(folder: Path) -> dict[str, str]:
    places = {name: folder / "results" / name for name in kind_of(folder).hashed}
    return {name: file_hash(place) for name, place in places.items() if place.is_file()}


def _difference(then: Mapping[str, str], now: Mapping[str, str]) -> str:
    """Return in words what differs between two sets of input files."""
    new = [name for name in now if name not in then]
    gone = [name for name in then if name not in now]
    other = [name for name in now if name in then and now[name] != then[name]]
    words = [
        f"{names[0] if len(names) == 1 else f'{len(names)} files'} {what}"
        for names, what in ((new, "new"), (gone, "gone"), (other, "changed"))
        if names
    ]
    return ", ".join(words)


def _read(path: Path) -> dict[str, dict[str, str]] | None:
    """Return the fingerprint beside the results; None where there is none to be trusted."""
    try:
        document: Any = json.loads(read_text(path))
    except (OSError, ValueError, RecursionError, WetlineError):
        return None
    if not isinstance(document, dict):
        return None
    parts = {key: document.get(key) for key in ("made_by", "inputs", "results")}
    return parts if all(isinstance(part, dict) for part in parts.values()) else None  # type: ignore[return-value]
