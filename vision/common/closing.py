"""What is opened is closed: the one way to hold what must be let go of."""

from __future__ import annotations

from types import TracebackType
from typing import Self


class Closing:
    """Hands itself to a ``with`` block and closes at its end."""

    def close(self) -> None:
        """Let go of what is held open; most things hold nothing."""

    def __enter__(self) -> Self:
        """Return the thing itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()
