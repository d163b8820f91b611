"""What a paired device may do: chosen at the desk, for one panel or for all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from vision.errors import WetlineError

PICTURES, SEE, FILE, RUN = "pictures", "see", "file", "run"
SCALE, WEBCAM, PAIR = "scale", "webcam", "pair"
RIGHTS = {
    PICTURES: "Take pictures and notes",
    SEE: "See boards, results and reports",
    FILE: "File findings",
    RUN: "Start, end and work out runs, stamp resin, feeds, vents and clamp, note the gauge",
    SCALE: "Change the scale",
    WEBCAM: "Use this computer's camera",
    PAIR: "Pair and forget other devices",
}
"""Each right in the words of the page."""
ALL = frozenset(RIGHTS)
ONLY_PICTURES = frozenset([PICTURES])
MOST_NAME = 40


@dataclass(frozen=True)
class Device:
    """Somebody's phone or computer that has been let in.

    Attributes
    ----------
    key : str
        Names it in the list; opens nothing.
    name : str
    rights : frozenset of str
        Of `RIGHTS`.
    panel : str or None
        The one panel it may have to do with; None for all.
    address : str
        Where it paired from.
    paired_s : float
        On the wall clock.
    """

    key: str
    name: str
    rights: frozenset[str] = ONLY_PICTURES
    panel: str | None = None
    address: str = ""
    paired_s: float = 0.0

    def may(self, right: str, panel: str | None = None) -> bool:
        """Return whether it has a right, for a panel where one is named.

        Examples
        --------
        >>> phone = Device("a", "Phone 1", frozenset(["pictures"]), "strip")
        >>> phone.may("pictures", "strip"), phone.may("pictures", "lid"), phone.may("run", "strip")
        (True, False, False)
        """
        return right in self.rights and (panel is None or self.panel in (None, panel))

    def may_hand_on(self, rights: frozenset[str], panel: str | None) -> bool:
        """Return whether it may give these rights: none that it lacks, for no other panel."""
        return self.may(PAIR) and rights <= self.rights and self.panel in (None, panel)


DESK = Device("desk", "This computer", ALL)


def chosen_rights(values: object, panel: str | None) -> frozenset[str]:
    """Return the rights that a request names; pictures and notes are always among them.

    Raises
    ------
    WetlineError
        If one is not known, or a device that sees no list of panels is given none of them.
    """
    if not isinstance(values, list) or any(value not in RIGHTS for value in values):
        raise WetlineError(f"rights: must be among {', '.join(RIGHTS)}")
    rights = frozenset(values) | ONLY_PICTURES
    if panel is None and SEE not in rights:
        raise WetlineError("choose the panel it is for, or let it see boards and results too")
    return rights


def right_words(rights: Iterable[str]) -> list[str]:
    """Return rights in the words of the page, in their usual order."""
    held = frozenset(rights)
    return [words for right, words in RIGHTS.items() if right in held]
