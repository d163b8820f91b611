"""Set-ups in the order of the user's wish, and what each costs in the other wishes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.runs.compare.differences import Mean, differences
from analysis.runs.compare.setups import Setup
from vision.common.rounding import rounded

WISHES = ("margin", "surface", "resin")
SAME_RESIN = 0.05
"""Uptakes nearer than this share are within what weighing and thickness scatter (common practice,
no source)."""
SAME_GRADE = 0.5
"""Grades nearer than this are alike: graders differ by as much (common practice, no source)."""
SURFACE_NOTE = (
    "Slow is not bad in itself: slower fills often give a better surface. Only the demoulded "
    "panel shows it."
)


@dataclass(frozen=True)
class Place:
    """One set-up in the ranking.

    Attributes
    ----------
    letter : str
    value : str
        What it is ranked by, in words.
    tied : bool
        Whether it cannot be told from the best.
    costs : str
        What it costs or gains in the other wishes against the best; empty for the best alone.
    """

    letter: str
    value: str
    tied: bool
    costs: str = ""


@dataclass(frozen=True)
class Ranking:
    """The order for one wish; `unranked` names the rest, each with its reason."""

    wish: str
    places: tuple[Place, ...]
    unranked: tuple[tuple[str, str], ...]
    notes: tuple[str, ...] = ()

    @property
    def best(self) -> str | None:
        """Letter of the best set-up; None where nothing could be ranked or two are level."""
        if not self.places or any(place.tied for place in self.places[1:]):
            return None
        return self.places[0].letter


def rank(setups: Sequence[Setup], wish: str) -> Ranking:
    """Rank set-ups by a wish.

    Parameters
    ----------
    setups : sequence of Setup
    wish : {"margin", "surface", "resin"}
        Most time to gel, best surface, least resin.

    Returns
    -------
    Ranking
        Set-ups whose panels were no fair test, or of which the wished-for thing is not known, are
        not ranked.
    """
    fair = [setup for setup in setups if not setup.left_out]
    out = [(setup.letter, setup.left_out) for setup in setups if setup.left_out]
    known = [setup for setup in fair if _score(setup, wish) is not None]
    out += [(setup.letter, _missing(wish)) for setup in fair if setup not in known]
    ordered = sorted(known, key=lambda setup: _score(setup, wish) or 0.0)
    mixed = wish == "resin" and len({_weighed(setup) for setup in known}) > 1
    notes = [SURFACE_NOTE] if wish == "surface" else []
    if mixed:
        out += [(s.letter, "resin worked out, not weighed") for s in known if not _weighed(s)]
        ordered = [setup for setup in ordered if _weighed(setup)]
    elif wish == "resin" and known and not _weighed(known[0]):
        notes.append("resin is worked out from thickness and porosity, not weighed")
    tied = _tied(ordered, wish)
    places = tuple(
        Place(s.letter, _value(s, wish), s.letter in tied, _costs(s, ordered[0], wish))
        for s in ordered
    )
    return Ranking(wish, places, tuple(out), tuple(notes))


def _score(setup: Setup, wish: str) -> float | None:
    """Return a number that is smaller where the set-up is better."""
    if wish == "surface":
        return setup.grade()
    if wish == "resin":
        told = setup.uptake()
        return None if told is None else told[0]
    mean = setup.mean("margin")
    return None if mean is None else -mean.log


def _weighed(setup: Setup) -> bool:
    told = setup.uptake()
    return told is not None and told[1]


def _missing(wish: str) -> str:
    return {
        "margin": "no margin known: it needs [resin] gel_time_min, and a fill that ends",
        "surface": "no surface grade filed for it yet",
        "resin": "resin not weighed, and thickness or porosity not stated",
    }[wish]


def _value(setup: Setup, wish: str) -> str:
    if wish == "surface":
        return f"surface grade {rounded(setup.grade() or 0.0, 1)}"
    if wish == "resin":
        told = setup.uptake()
        assert told is not None
        return f"{told[0]:.2f} kg/m² of resin"
    mean = setup.mean("margin")
    assert mean is not None
    return f"margin {mean.value:.2f}{_short(mean)}"


def _short(mean: Mean) -> str:
    """Write that a margin is too small; empty where the part surely fills in the working time."""
    if mean.value < 1.0:
        return " (NOT full in the working time)"
    return " (may not be full in the working time)" if mean.ends[0] < 1.0 else ""


def _tied(ordered: Sequence[Setup], wish: str) -> set[str]:
    """Letters of the set-ups that cannot be told from the best, the best among them."""
    if not ordered:
        return set()
    best = ordered[0]
    if wish == "margin":
        means: dict[str, Mean] = {
            setup.letter: mean for setup in ordered if (mean := setup.mean("margin")) is not None
        }
        real = {d.second for d in differences(means) if d.first == best.letter and d.real}
        return set(means) - real
    least = _score(best, wish) or 0.0
    limit = least * (1.0 + SAME_RESIN) if wish == "resin" else least + SAME_GRADE - 1e-9
    return {setup.letter for setup in ordered if (_score(setup, wish) or 0.0) <= limit}


def _costs(setup: Setup, best: Setup, wish: str) -> str:
    """Write what a set-up costs or gains in the other wishes against the best."""
    if setup is best:
        return ""
    told = []
    for other in WISHES:
        if other == wish:
            continue
        mine, theirs = _score(setup, other), _score(best, other)
        if mine is None or theirs is None:
            continue
        told.append(_against(setup, best, other))
    return "; ".join(text for text in told if text)


def _against(setup: Setup, best: Setup, wish: str) -> str:
    if wish == "margin":
        mine, theirs = setup.mean("margin"), best.mean("margin")
        assert mine is not None
        assert theirs is not None
        word = "more" if mine.log > theirs.log else "less"
        return f"{word} margin than {best.letter} ({mine.value:.2f} against {theirs.value:.2f})"
    if wish == "surface":
        a, b = setup.grade() or 0.0, best.grade() or 0.0
        if abs(a - b) < SAME_GRADE:
            return f"surface like {best.letter}"
        return f"{'better' if a < b else 'worse'} surface ({rounded(a, 1)} against {rounded(b, 1)})"
    one, two = setup.uptake(), best.uptake()
    assert one is not None
    assert two is not None
    share = one[0] / two[0] - 1.0
    if abs(share) <= SAME_RESIN:
        return f"as much resin as {best.letter}"
    return f"{abs(share) * 100:.0f} % {'more' if share > 0 else 'less'} resin than {best.letter}"
