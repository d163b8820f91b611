"""Front door of Wetline: joins the commands of the two rooms and loads them when asked for."""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any

import click

# name: (module, attribute, one-line help). The help stands here so that `wetline --help` need
# not load OpenCV; a test keeps it equal to the command's own.
COMMANDS: dict[str, tuple[str, str, str]] = {
    "new": (
        "analysis.commands.panel",
        "new",
        "Make a folder for a new panel, with a panel.toml to fill in.",
    ),
    "sheet": ("vision.commands", "sheet", "Write the printable scale sheet as a PDF."),
    "corners": (
        "vision.commands",
        "corners",
        "Read the panel's corners or tape marks off the first photo.",
    ),
    "run": (
        "analysis.commands.panel",
        "run",
        "Do the whole job: track, fit, decide, and write the record.",
    ),
    "track": ("vision.commands", "track", "Find the flow front in every frame."),
    "fit": (
        "analysis.commands.panel",
        "fit",
        "Work out permeability, fill time and verdict from what was tracked.",
    ),
    "lines": (
        "vision.commands",
        "lines",
        "Draw the front lines on a photo, and from straight above.",
    ),
    "forecast": (
        "analysis.commands.panel",
        "forecast",
        "Say whether the part fills in time, and what to change if not.",
    ),
    "resin": (
        "analysis.commands.panel",
        "resin",
        "Say how much resin and hardener to mix, in which pots.",
    ),
    "part": (
        "analysis.commands.part",
        "part",
        "Say how a part fills with the planned feeds and vents, and improve the plan.",
    ),
    "watch": ("analysis.commands.live", "watch", "Follow a panel live while it fills."),
    "page": ("analysis.commands.live", "page", "Open panels, boards and reports as a web page."),
    "drawdown": (
        "analysis.commands.panel",
        "drawdown",
        "Say from a gauge log whether the bag is tight enough.",
    ),
}


class LazyGroup(click.Group):
    """A group whose commands are imported when called, and whose faults are told in one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Give the command names in the order a job needs them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module that holds the command."""
        if cmd_name not in COMMANDS:
            return None
        # Wetline's matrices are small: threads of the linear algebra would only wait for each
        # other. Set before NumPy loads; whoever set it already keeps it.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        module, attribute, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, text) for name, (_, _, text) in COMMANDS.items()] or [("", "")]
            )

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what the user can mend becomes one line and exit code 1."""
        from vision.errors import WetlineError

        try:
            return super().invoke(ctx)
        except WetlineError as error:
            raise click.ClickException(str(error)) from error
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except KeyboardInterrupt:
            raise click.Abort() from None
        except Exception as error:
            if os.environ.get("WETLINE_TRACEBACK"):
                raise
            raise click.ClickException(
                f"Wetline met a fault of its own ({type(error).__name__}: {error}). Nothing of "
                "yours was changed. Set WETLINE_TRACEBACK=1 and run again for the details to "
                "report."
            ) from error


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="wetline", prog_name="wetline")
def main() -> None:
    """Track the flow front of an infusion test panel, from photos to the answer.

    Start with `wetline new FOLDER`, put the photos in FOLDER/frames, then `wetline run FOLDER`.
    """


if __name__ == "__main__":
    sys.exit(main())
