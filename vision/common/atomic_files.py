"""Writing results so that a stopped run never leaves half a file."""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import os
import platform
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from vision.common.outside.input_files import plain_text, read_text
from vision.errors import WetlineError

PART = ".part-"
"""How a file begins that is not whole yet; then follow the computer, the process, and letters."""
OLD_S = 86_400.0
"""A file of another computer's that is still not whole after a day will never be."""


def sweep_leftovers(*folders: Path) -> None:
    """Remove the unfinished files that stopped runs left in these folders.

    Those of a process of this computer that is no longer there go at once, those of another
    computer (on a shared drive) after a day. Those of a running process stay.
    """
    for folder in folders:
        with contextlib.suppress(OSError):
            for path in [one for one in folder.iterdir() if one.name.startswith(PART)]:
                if _is_left_over(path):
                    path.unlink(missing_ok=True)


def _is_left_over(path: Path) -> bool:
    computer, _, rest = path.name.removeprefix(PART).partition("-")
    process = rest.partition("-")[0]
    if os.name == "posix" and computer == computer_mark() and process.isdecimal():
        if int(process) == os.getpid():
            return False
        try:
            os.kill(int(process), 0)
        except (ProcessLookupError, OverflowError):
            return True
        except OSError:
            return False  # somebody else's, and there
    return time.time() - path.stat().st_mtime > OLD_S


def computer_mark() -> str:
    """Return a few letters that stand for this computer, in the names of unfinished files."""
    return hashlib.blake2b(platform.node().encode(), digest_size=4).hexdigest()


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
        own = f"{PART}{computer_mark()}-{os.getpid()}-"
        handle, name = tempfile.mkstemp(suffix=path.suffix, prefix=own, dir=path.parent)
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
            with contextlib.suppress(OSError):  # swept later
                temporary.unlink(missing_ok=True)


def remove_file(path: Path) -> None:
    """Remove a file, if it is there.

    Raises
    ------
    WetlineError
        If it cannot be removed.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise WetlineError(
            f"{path}: cannot be removed ({error.strerror or error}): close it if it is open "
            "elsewhere, or look at your rights to the folder"
        ) from error


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


def first_run(path: Path) -> str:
    """Return what to do first where a file of the results is missing.

    Examples
    --------
    >>> first_run(Path("roof/results/front.csv"))
    'run `wetline run roof` first'
    """
    folder = path.parent.parent if path.parent.name == "results" else path.parent
    return f"run `wetline run {folder.as_posix()}` first"


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
        raise WetlineError(f"{path}: not there yet: {first_run(path)}") from error
    except (OSError, ValueError, RecursionError) as error:
        raise WetlineError(f"{path}: cannot be read: delete it and run again") from error
    if not isinstance(value, dict):
        raise WetlineError(f"{path}: not what Wetline writes: delete it and run again")
    return value
