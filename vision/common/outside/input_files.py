"""Reading what lies in a panel folder, whatever it turns out to be: the one way in for files."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

from vision.errors import WetlineError

MOST_TEXT_BYTES = 20_000_000
"""Largest settings, log or table that is read: years of readings, a second apart, are less."""
MOST_PICTURE_BYTES = 300_000_000
"""Largest photo that is read: an uncompressed TIFF of `MOST_PIXELS` is smaller."""
MOST_PIXELS = 64_000_000
"""Largest photo that is unpacked; cameras of 61 million pixels are sold (common practice)."""

UNREADABLE = "cannot be read"
"""What stands for the hash of a file that is none or cannot be read."""

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def is_there(path: Path) -> bool:
    """Return whether anything of that name is there; a name that cannot be is not.

    Examples
    --------
    >>> is_there(Path("a" * 5000)), is_there(Path("nul" + chr(0))), is_there(Path("."))
    (False, False, True)
    """
    try:
        path.stat()
    except (OSError, ValueError):
        return False
    return True


def check_file(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> int:
    """Refuse what is no plain file, without opening it, and return its size in bytes.

    A pipe or a device in place of a file would keep the reader waiting for ever.

    Parameters
    ----------
    path : Path
    most_bytes : int
        Size beyond which a file is refused.

    Raises
    ------
    WetlineError
        If it is a folder, pipe, socket or device, or too large.
    OSError
        If it is not there or cannot be asked for.
    """
    try:
        found = path.stat()
    except ValueError as error:
        raise FileNotFoundError(f"{path!r}: no file can have this name") from error
    if not stat.S_ISREG(found.st_mode):
        kind = next((name for is_kind, name in _KINDS if is_kind(found.st_mode)), "no plain file")
        raise WetlineError(
            f"{shown_path(path)}: is {kind}, not a file that can be read: put the file itself there"
        )
    if found.st_size > most_bytes:
        raise WetlineError(
            f"{shown_path(path)}: is {found.st_size / 1e6:,.0f} MB large, more than "
            f"{most_bytes / 1e6:,.0f} MB: this can't be the file that is meant"
        )
    return found.st_size


def read_file(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> bytes:
    """Return what a plain file holds.

    Raises
    ------
    WetlineError, OSError
        As `check_file`.
    """
    check_file(path, most_bytes)
    with path.open("rb") as file:
        return file.read(most_bytes)


def read_text(path: Path) -> str:
    """Return the text of a plain UTF-8 file, line ends as they stand, without a byte-order mark.

    Raises
    ------
    UnicodeDecodeError
        If it is no UTF-8.
    WetlineError, OSError
        As `check_file`.
    """
    return read_file(path).decode("utf-8-sig")


def cannot_read(path: Path, error: OSError | UnicodeDecodeError) -> WetlineError:
    """Return what to tell where `read_text` failed: whether it is the text or the rights to it.

    Examples
    --------
    >>> print(cannot_read(Path("part.toml"), PermissionError(13, "Permission denied")))
    part.toml: cannot be read (Permission denied): look at the drive and your rights to it
    """
    if isinstance(error, UnicodeDecodeError):
        return WetlineError(f"{path}: cannot be read as text: save it as UTF-8")
    why = one_line(error.strerror or str(error))
    return WetlineError(f"{path}: cannot be read ({why}): look at the drive and your rights to it")


def shown_name(path: Path | str) -> str:
    """Return a file's name as text that any file and screen can hold.

    Names that came from an older system need not be UTF-8; Python keeps such bytes as lone
    surrogates, which no text file takes.

    Examples
    --------
    >>> shown_name("photos/K\\udcfchne.jpg"), shown_name(Path("frames/bild 1.jpg"))
    ('K\\ufffdhne.jpg', 'bild 1.jpg')
    """
    return plain_text(Path(path).name)


def shown_path(path: Path | str) -> str:
    """Return a path as text that any file and screen can hold (see `shown_name`)."""
    return plain_text(os.fspath(path))


def one_line(text: str) -> str:
    """Return a text as one line of letters a screen can show: no breaks, no control characters.

    Examples
    --------
    >>> one_line("bag\\x1b[31m\\nleaks"), one_line("8 mbar")
    ('bag [31m leaks', '8 mbar')
    """
    return "".join(letter if letter.isprintable() else " " for letter in plain_text(text))


def plain_text(text: str) -> str:
    """Return a text with lone surrogates replaced, so that it can be written as UTF-8."""
    try:
        text.encode("utf-8")  # far quicker than a look at each letter of a whole report
    except UnicodeEncodeError:
        return "".join("\ufffd" if "\ud800" <= letter <= "\udfff" else letter for letter in text)
    return text


def file_hash(path: Path) -> str:
    """Compute the SHA-256 of a file in hexadecimal, "cannot be read" where it cannot be."""
    if not path.is_file():  # a pipe would be waited for without end
        return UNREADABLE
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return UNREADABLE
