"""Writing results so that a stopped run never leaves half a file."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from vision.common.outside.input_files import plain_text, read_text
from vision.errors import WetlineError


def replace_file(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a temporary neighbour of `path`, then put it in place.

    Parameters
    ----------
    path : Path
        The file to write; its folder is made if missing.
    write : callable
        Called with the temporary path, which has the same suffix.

    Raises
    ------
    WetlineError
        If the folder cannot be written to or the disk is full.
    """
    temporary: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(suffix=path.suffix, prefix=".part-", dir=path.parent)
        os.close(handle)
        temporary = Path(name)
        write(temporary)
        if os.name == "posix":
            # mkstemp keeps a file to its owner; results are for the whole shop.
            mask = os.umask(0)
            os.umask(mask)
            temporary.chmod(0o666 & ~mask)
        os.replace(temporary, path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise WetlineError(
            f"{path}: cannot be written ({reason}): close it if it is open elsewhere, "
            "or free some disk space"
        ) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text in one step (see `replace_file`)."""
    replace_file(path, lambda part: part.write_bytes(plain_text(text).encode("utf-8")))


def add_file(folder: Path, stem: str, suffix: str, data: bytes) -> Path:
    """Write a new file beside those of the same name, never over one, and return its place.

    Parameters
    ----------
    folder : Path
        Made if missing.
    stem, suffix : str
        The name wished for; ``stem-2``, ``stem-3``, ... where it is taken.
    data : bytes

    Raises
    ------
    WetlineError
        As `replace_file`.
    """
    number = 1
    while True:
        path = folder / f"{stem}{f'-{number}' if number > 1 else ''}{suffix}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with path.open("xb"):
                break
        except FileExistsError:
            number += 1
        except OSError:
            break  # said in full by `replace_file`
    try:
        replace_file(path, lambda part: part.write_bytes(data))
    except WetlineError:
        path.unlink(missing_ok=True)
        raise
    return path


def plain(value: Any) -> Any:
    """Turn arrays and NumPy numbers into plain JSON values; NaN and infinity become None.

    Examples
    --------
    >>> plain({"a": np.float64(2.0), "b": np.array([1, 2]), "c": float("inf")})
    {'a': 2.0, 'b': [1, 2], 'c': None}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def write_json(path: Path, value: Any) -> None:
    """Write `value` as indented JSON in one step."""
    write_text(path, json.dumps(plain(value), indent=2, ensure_ascii=False) + "\n")


def read_json(path: Path) -> dict[str, Any]:
    """Read a JSON object that Wetline wrote.

    Raises
    ------
    WetlineError
        If the file is missing or is not the JSON it should be.
    """
    try:
        value = json.loads(read_text(path))
    except FileNotFoundError as error:
        raise WetlineError(f"{path}: not there yet: run `wetline track` on the folder") from error
    except (OSError, ValueError, RecursionError) as error:
        raise WetlineError(f"{path}: cannot be read: delete it and run again") from error
    if not isinstance(value, dict):
        raise WetlineError(f"{path}: not what Wetline writes: delete it and run again")
    return value
