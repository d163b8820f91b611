"""One watcher for one panel: a lock that the system lets go when the program dies."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import IO, Self

from vision.common.closing import Closing
from vision.errors import WetlineError

FILE = ".watch.lock"
_FAR = 1024
"""Byte that is locked on Windows, past the text, so that the text can still be read."""


class FolderLock(Closing):
    """Holds a folder for one program, such as the watcher of a panel.

    Parameters
    ----------
    folder : Path
    file : str
        Name of the lock's file in it.
    busy : str
        What another program is doing there, for the message.
    mend : str
        What the user may do about it.

    Raises
    ------
    WetlineError
        On entering, if another watcher holds it, or the folder cannot be written to.

    Notes
    -----
    The operating system drops the lock with the process, however that ends, so that a run can go
    on after a crash with nothing to clean up.
    """

    def __init__(
        self,
        folder: Path,
        file: str = FILE,
        busy: str = "being watched",
        mend: str = "use that board, or stop it there first",
    ) -> None:
        self.path = folder / file
        self.busy, self.mend = busy, mend
        self._file: IO[str] | None = None

    def __enter__(self) -> Self:
        """Take the lock."""
        try:
            file = self.path.open("a+", encoding="utf-8")
        except OSError as error:
            raise WetlineError(
                f"{self.path.parent}: cannot be written to ({error.strerror}): choose a folder "
                "of your own"
            ) from error
        if not _try_lock(file):
            since = self._since()
            file.close()
            raise WetlineError(f"{self.path.parent}: is {self.busy} already{since}: {self.mend}")
        file.seek(0)
        file.truncate()
        file.write(time.strftime("%H:%M"))
        file.flush()
        self._file = file
        return self

    def _since(self) -> str:
        try:
            text = self.path.read_text(encoding="utf-8")[:5]
        except (OSError, UnicodeDecodeError):
            return ""
        return f" since {text}" if text else ""

    def close(self) -> None:
        """Let go."""
        if self._file is not None:
            _unlock(self._file)
            self._file.close()
            self._file = None


def is_watched(folder: Path) -> bool:
    """Return whether a watcher holds a panel folder at this moment."""
    path = folder / FILE
    if not path.is_file():
        return False
    try:
        with path.open("a+", encoding="utf-8") as file:
            free = _try_lock(file)
            if free:
                _unlock(file)
    except OSError:
        return False
    return not free


if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: IO[str]) -> bool:
        file.seek(_FAR)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(file: IO[str]) -> None:
        file.seek(_FAR)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(file: IO[str]) -> bool:
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _unlock(file: IO[str]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_UN)
