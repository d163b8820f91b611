"""A command group that loads a command when it is called, and tells faults in one line."""

from __future__ import annotations

import atexit
import gc
import importlib
import os
import sys
from collections.abc import Mapping
from typing import Any

import click

from vision.common.outside.console import settled_screen
from vision.common.outside.input_files import MOST_PIXELS, one_line
from vision.errors import WetlineError

BEFORE_LOADING = {
    # Wetline's matrices are small: threads of the linear algebra would only wait for each other.
    "OPENBLAS_NUM_THREADS": "1",
    # OpenCV's own words are not for the user, and nothing larger is unpacked than we read.
    "OPENCV_LOG_LEVEL": "SILENT",
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    "OPENCV_IO_MAX_IMAGE_PIXELS": str(MOST_PIXELS),
}
"""What the libraries read once, as they are loaded; whoever set it already keeps it."""


COLLECT_AFTER = (50_000, 20, 20)
"""New objects, and rounds, between looks for rings of dead objects. Loading libraries makes many
objects and hardly a ring: after the usual few hundred, looking costs some hundredths of a run."""


def load_object(place: str) -> Any:
    """Return the object at ``"package.module:name"``, its module loaded now.

    Examples
    --------
    >>> load_object("math:pi")
    3.141592653589793
    """
    module, _, name = place.partition(":")
    return getattr(importlib.import_module(module), name)


def _outside(error: OSError) -> str:
    """Return what the computer refused, where nothing nearer has said it better.

    Examples
    --------
    >>> _outside(PermissionError(13, "Permission denied", "cover/results"))
    'cover/results: Permission denied: look at the name, the drive and your rights to it'
    """
    what = one_line(str(error.filename))[-300:] if error.filename is not None else "A file"
    why = one_line(error.strerror or str(error))
    return f"{what}: {why}: look at the name, the drive and your rights to it"


def _unforeseen(error: Exception) -> str:
    """Return what to tell of a fault: ours, or a name that the computer's settings cannot write."""
    letters = sys.getfilesystemencoding()
    if isinstance(error, UnicodeEncodeError) and error.encoding == letters != "utf-8":
        return (
            f"{ascii(error.object)[:300]}: has a letter that this computer, set to {letters}, "
            "cannot use in a file: set LANG to one that ends in UTF-8 (such as C.UTF-8), or keep "
            "to plain letters"
        )
    return (
        f"Wetline met a fault of its own ({type(error).__name__}: {one_line(str(error))}). "
        "Nothing of yours was changed. Set WETLINE_TRACEBACK=1 and run again for the "
        "details to report."
    )


def _spare_the_collector() -> None:
    """Keep Python from looking through all objects again and again, for a command soon ends.

    At its end it would look through them three times before it lets go of them anyway: a tenth
    of a run. What is frozen is not looked through.
    """
    gc.set_threshold(*COLLECT_AFTER)
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


class LazyGroup(click.Group):
    """A group whose commands are imported when called.

    Parameters
    ----------
    places : mapping of str to (str, str)
        For each command its place as in `load_object` and its one-line help, which stands here
        so that listing the commands need not load them.
    """

    def __init__(
        self, *args: Any, places: Mapping[str, tuple[str, str]] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.places = dict(places or {})

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the command names in the order a job needs them."""
        return list(self.places)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module that holds the command."""
        if cmd_name not in self.places:
            return None
        for name, value in BEFORE_LOADING.items():
            os.environ.setdefault(name, value)
        command: click.Command = load_object(self.places[cmd_name][0])
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.places.items()])

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run the command line on a screen that shows our words only, in any encoding."""
        _spare_the_collector()
        with settled_screen():
            return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what the user can mend becomes one line and exit code 1."""
        try:
            return super().invoke(ctx)
        except WetlineError as error:
            raise click.ClickException(one_line(str(error))) from error
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except OSError as error:
            raise click.ClickException(_outside(error)) from error
        except MemoryError:
            raise click.ClickException(
                "There is not enough memory for this: close other programs, or use smaller "
                "photos or fewer cells."
            ) from None
        except KeyboardInterrupt:
            raise click.Abort() from None
        except Exception as error:
            if os.environ.get("WETLINE_TRACEBACK"):
                raise
            raise click.ClickException(_unforeseen(error)) from error
