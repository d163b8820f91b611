"""The table of known values: on the screen, in the docs, as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from analysis.selftest.chain_checks import CHAIN_CHECKS
from analysis.selftest.check import Check, Result, run_check
from analysis.selftest.flow_checks import FLOW_CHECKS
from analysis.selftest.shop_checks import SHOP_CHECKS

CHECKS = (*SHOP_CHECKS, *FLOW_CHECKS, *CHAIN_CHECKS)


def run_checks(checks: Iterable[Check] = CHECKS) -> list[Result]:
    """Find each known value again on this installation."""
    return [run_check(check) for check in checks]


def report_lines(results: Sequence[Result], quiet: bool = False) -> list[str]:
    """Write the results for the screen, each with its source beneath.

    Parameters
    ----------
    results : sequence of Result
    quiet : bool
        Only what is off, and the count.
    """
    shown = [one for one in results if not (quiet and one.ok)]
    lines = []
    for one in shown:
        lines.append(f"{'ok ' if one.ok else 'OFF'}  {one.what}")
        near = one.within if one.within == "exactly" else f"to {one.within}"
        lines.append(f"       expected {one.expected} ({near}), found {one.found}")
        lines.append(f"       source: {one.source}")
    off = sum(not one.ok for one in results)
    end = f"{len(results)} known values: "
    if not off:
        return [*lines, end + "all found again."]
    mend = "This installation works something out wrongly: install it afresh, and trust no answer"
    return [*lines, f"{end}{off} off. {mend} until then."]


def report_table(results: Sequence[Result]) -> str:
    """Return the results as a Markdown table."""
    rows = [
        f"| {one.what} | {one.source} | {one.expected} | {one.within} | {one.found} |"
        for one in results
    ]
    return (
        "\n".join(["| What | Source | Expected | Within | Found |", "|---|---|---|---|---|", *rows])
        + "\n"
    )


def report_json(results: Sequence[Result]) -> dict[str, Any]:
    """Return the results as plain JSON values."""
    return {
        "all_ok": all(one.ok for one in results),
        "checks": [asdict(one) for one in results],
    }
