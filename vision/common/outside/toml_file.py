"""Reading a TOML file, with the way to mend what its writer got wrong.

Tested in tests/vision/common/test_toml_table.py.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from vision.common.outside.input_files import cannot_read, read_text
from vision.errors import WetlineError

MOST_DEEP = 20
"""Lists and tables within each other; what Wetline reads has six at the most."""
_TOO_DEEP = "lists or tables stand in each other far too often: check the brackets"
_TOO_LONG = "a whole number of too many digits: mend it"
_COMMA = re.compile(r"=\s*[-+]?\d+,\d")
_BARE_UNIT = re.compile(r"=\s*[-+]?[\d.]+\s*[A-Za-z%\"]")
_BARE_WORDS = re.compile(r"([A-Za-z_]\w*)\s*=\s*([A-Za-z][^\"'#\[\]{}=]*?)\s*(?:#.*)?")
_UNCLOSED = "close every quote and bracket"
_NO_VALUE = re.compile(r"=\s*(#.*)?$")


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    WetlineError
        If it is missing, is not UTF-8 text, or breaks TOML's rules (with the line).
    """
    try:
        text = read_text(path)
    except FileNotFoundError as error:
        option = " --part" if path.name == "part.toml" else ""
        make = f"make one with `wetline new {path.parent.as_posix()}{option}`"
        raise WetlineError(f"{path}: not found: {make}") from error
    except (OSError, UnicodeDecodeError) as error:
        raise cannot_read(path, error) from error
    return parse_toml(text, path)


def parse_toml(text: str, path: Path) -> dict[str, Any]:
    """Return what a text of TOML holds; `path` is for messages.

    Raises
    ------
    WetlineError
        If it breaks TOML's rules (with the line), nests without end, or holds a whole number
        past TOML's own 64 bits.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WetlineError(f"{path}: {_mend(text, str(error))}") from error
    except RecursionError as error:
        raise WetlineError(f"{path}: {_TOO_DEEP}") from error
    except ValueError as error:
        raise WetlineError(f"{path}: holds {_TOO_LONG}") from error
    _refuse_unlikely(path, "", document, 0)
    return document


def _refuse_unlikely(path: Path, name: str, value: object, depth: int) -> None:
    """Refuse lists within lists without end, and whole numbers beyond TOML's own 64 bits."""
    if depth > MOST_DEEP:
        raise WetlineError(f"{path}: {name}: {_TOO_DEEP}")
    if isinstance(value, int) and value.bit_length() > 63:
        raise WetlineError(f"{path}: {name}: is {_TOO_LONG}")
    if isinstance(value, list):
        for one in value:
            _refuse_unlikely(path, name, one, depth + 1)
    elif isinstance(value, dict):
        for key, one in value.items():
            _refuse_unlikely(path, name if depth > 1 else f"{name} {key}".strip(), one, depth + 1)


def _mend(text: str, fault: str) -> str:
    """Return the line that TOML's reader stopped at, and how to mend it."""
    at = re.search(r"at line (\d+), column (\d+)", fault)
    lines = text.splitlines()
    if at is None or int(at.group(1)) > len(lines):
        whole = [k for k, line in enumerate(lines) if line.strip()]
        number = whole[-1] + 1 if whole else 1
        return f"line {number}: the file ends too soon: {_UNCLOSED}"
    number = int(at.group(1))
    line = lines[number - 1].strip()
    return f"line {number}: `{line}`: {_rule(line, fault)}"


def _rule(line: str, fault: str) -> str:
    """Return what to write in place of a line, in a shop's words."""
    if "Cannot overwrite a value" in fault or "Cannot declare" in fault:
        return "stands twice: keep one of the two"
    if any(quote in line for quote in "“”„‘’"):
        return "write straight quotes"
    if "\\" in line:
        return "write / in place of \\"
    if re.search(r"=\s*(True|False|TRUE|FALSE)\b", line):
        return "write true or false in small letters"
    if _COMMA.search(line):
        return "write a decimal point, or put the value in quotes"
    if _NO_VALUE.search(line):
        return "write the value behind the ="
    if _BARE_UNIT.search(line):
        return "put a value with its unit in quotes"
    words = _BARE_WORDS.fullmatch(line)
    if words:
        return f'put words in quotes: {words.group(1)} = "{words.group(2)}"'
    if line.startswith("["):
        return "write a table's name in brackets on a line of its own, as [panel]"
    if "=" not in line:
        return "write name = value, or # before the line if it is a note"
    return f"{_UNCLOSED}, and write one name = value on a line"
