"""Front door of Wetline: the commands, and the names a script uses. Each loads when asked for.

A script does the job in five lines::

    import wetline

    run = wetline.track("sample_frames/glass_edge")
    found = wetline.answer(run, "sample_frames/glass_edge")
    print(found.verdict, found.k_m2, found.k_low_m2, found.k_high_m2)
"""

from __future__ import annotations

import sys
from typing import Any

import click

from vision.common.lazy_commands import LazyGroup, load_object

COMMANDS = {
    "new": ("analysis.commands.panel:new", "Make a folder for a new panel, or a part, with a panel.toml or part.toml to fill in."),
    "sheet": ("analysis.commands.camera:sheet", "Write the printable scale sheet as a PDF."),
    "corners": ("analysis.commands.camera:corners", "Read a panel's corners or tape marks, or a part's corners, off the first photo or PHOTO."),
    "run": ("analysis.commands.panel:run", "Do the whole job: track, fit, decide, and write the record."),
    "track": ("vision.commands:track", "Find the flow front in every frame."),
    "fit": ("analysis.commands.panel:fit", "Work out permeability, fill time and verdict from what was tracked."),
    "lines": ("analysis.commands.camera:lines", "Draw the front lines on a photo, and from straight above."),
    "forecast": ("analysis.commands.panel:forecast", "Find out whether the part fills in time, and what to change if not."),
    "resin": ("analysis.commands.panel:resin", "Work out how much resin and hardener to mix, in which pots."),
    "part": ("analysis.commands.part:part", "Work out how a part fills with the planned feeds and vents, and improve the plan."),
    "batch": ("analysis.commands.batch:batch", "Bring every panel and part beneath a folder up to date."),
    "selftest": ("analysis.commands.selftest:selftest", "Check this installation against known values."),
    "record": ("analysis.commands.record:record", "File photos and findings of a panel or part, and write its report."),
    "compare": ("analysis.commands.runs:compare", "Put panels side by side, and find the best set-up for your wish."),
    "repeat": ("analysis.commands.runs:repeat", "Find out whether a run went like the good ones did."),
    "data": ("analysis.commands.runs:data", "Write everything a panel or part measured as tables, JSON, NumPy and TIFF."),
    "watch": ("analysis.commands.live:watch", "Follow a panel or a part live while it fills."),
    "page": ("analysis.commands.live:page", "Open panels, boards and reports as a web page."),
    "drawdown": ("analysis.commands.panel:drawdown", "Find out from a gauge log whether the bag is tight enough."),
}  # fmt: skip
"""Where each command stands, and its help for the list of commands."""

NAMES = {
    "track": "vision.tracking.api:track",
    "track_images": "vision.tracking.api:track_images",
    "load": "vision.tracking.api:load",
    "front_lines": "vision.tracking.api:front_lines",
    "read_panel": "analysis.panel.panel_toml:read_panel",
    "answer": "analysis.forecast.panel_answer:answer",
    "fill_part": "analysis.part.answer.job:fill_part",
    "WetlineError": "vision.errors:WetlineError",
}
"""What a script may use, and where it stands."""


def __getattr__(name: str) -> Any:
    """Return one of `NAMES`, its module loaded now (PEP 562)."""
    if name not in NAMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return load_object(NAMES[name])


def __dir__() -> list[str]:
    """Return the names of this module, those not yet loaded among them."""
    return sorted({*globals(), *NAMES})


@click.group(
    cls=LazyGroup, places=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(package_name="wetline", prog_name="wetline")
def main() -> None:
    """Track the flow front of an infusion test panel, from photos to the answer.

    Start with `wetline new FOLDER`, put the photos in FOLDER/frames, then `wetline run FOLDER`.
    """


if __name__ == "__main__":
    sys.exit(main())
