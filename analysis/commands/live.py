"""The live commands; heavy imports stay inside the bodies so that help is quick."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from analysis.commands.options import Measure
from vision.common.quantity import TIME_S

FOLDER = click.Path(path_type=Path, file_okay=False)
PORT_OPTION = click.option(
    "--port", type=click.IntRange(0, 65535), default=8484, show_default=True, help="Of the page."
)
SHARE_OPTION = click.option(
    "--share", is_flag=True, help="Let paired phones in the same network open the page."
)
LIKE_OPTION = click.option(
    "--like", "references", multiple=True, type=FOLDER, help="Folder of a good run; repeatable."
)


@click.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--camera",
    default="0",
    show_default=True,
    help="Webcam number, rtsp:// or http:// address, a folder another program fills, or phone.",
)
@click.option(
    "--interval-s",
    type=Measure(TIME_S, at_least=0.5, at_most=600),
    default=10.0,
    show_default=True,
    help="Seconds between pictures.",
)
@LIKE_OPTION
@click.option("--page", "with_page", is_flag=True, help="Show the board as a web page too.")
@SHARE_OPTION
@PORT_OPTION
@click.option("--json", "as_json", is_flag=True, help="Print the last board as JSON.")
@click.option("--quiet", is_flag=True, help="Print alarms and the result only.")
def watch(
    folder: Path,
    camera: str,
    interval_s: float,
    references: tuple[Path, ...],
    with_page: bool,
    share: bool,
    port: int,
    as_json: bool,
    quiet: bool,
) -> None:
    """Follow a panel or a part live while it fills.

    Every picture goes to FOLDER/frames first, with its time. Stop with Ctrl-C; the same command
    goes on with the same run. Type o and Enter when the resin opens, c at the clamp, e at the
    end; at a part f when its next feed was opened, v 1 when vent 1 was clamped, and u to take
    the last of these back.
    """
    from contextlib import ExitStack

    from analysis.page.access.endings import ends_tidily
    from analysis.watch.terminal import run_in_terminal
    from vision.cameras.clock import SteadyClock
    from vision.cameras.open_camera import open_camera

    begin = _beginning(folder, references)
    clock = SteadyClock()
    with ExitStack() as stack:
        stack.enter_context(ends_tidily())
        opened = stack.enter_context(open_camera(camera, folder, interval_s, clock))
        watched = stack.enter_context(begin(opened, interval_s, clock))
        layout, more = _keys(watched)
        served = None
        if with_page or share or camera == "phone":
            served = _serve_watch(stack, watched, folder, share, port)
            more["p"] = lambda _: _new_codes(served)
        try:
            board = run_in_terminal(watched, quiet, more=more, layout=layout)
        except KeyboardInterrupt:
            click.echo(_stopped(watched, folder), err=True)
            return
        _show_last(watched, board, as_json)
        if served is not None:
            click.echo("The result stays on the page. Stop with Ctrl-C.", err=True)
            _stay(served)


def _beginning(folder: Path, references: tuple[Path, ...]) -> Any:
    """Return what begins the watch of a panel or a part, given camera, interval and clock."""
    from analysis.part.part_folder import is_part
    from vision.errors import WetlineError

    if is_part(folder):
        from analysis.watch.part.run import WatchPart

        _refuse_for_part(folder)
        return lambda camera, interval_s, clock: WatchPart(
            folder, camera, interval_s, clock, like=references
        )
    from analysis.runs.panels.good_run import read_reference
    from analysis.watch.run import Watch

    if not (folder / "panel.toml").is_file():
        raise WetlineError(f"{folder}: no panel.toml: make one with `wetline new {folder}`")
    good = [read_reference(path) for path in references]
    return lambda camera, interval_s, clock: Watch(folder, camera, interval_s, good, clock)


def _keys(watched: Any) -> tuple[Any, dict[str, Any]]:
    """Return how a watched run's board is written in the terminal, and the keys of its own."""
    from analysis.watch.part.board import KEYS, part_board_lines
    from analysis.watch.part.run import WatchPart
    from analysis.watch.terminal import PANEL, Layout

    if not isinstance(watched, WatchPart):
        return PANEL, {}
    keys = {"f": watched.open_feed, "v": watched.clamp_vent, "u": watched.take_back}
    return Layout(part_board_lines, KEYS), keys


def _show_last(watched: Any, board: Any, as_json: bool) -> None:
    import json

    from analysis.forecast.panel_text import text_lines

    if as_json:
        from analysis.page.part_view import view_of

        click.echo(json.dumps(view_of(watched, board), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(text_lines(board.final)))


def _refuse_for_part(folder: Path) -> None:
    """Refuse a part without [frames]."""
    from analysis.part.part_folder import has_camera
    from vision.errors import WetlineError

    if not has_camera(folder):
        raise WetlineError(
            f"{folder / 'part.toml'}: [frames]: is missing: write a line [frames], below it "
            'source = "frames", and a [scale], to watch this part'
        )


def _stopped(watched: Any, folder: Path) -> str:
    return (
        f"Stopped. {watched.board.frames} pictures are in {folder / 'frames'}. Go on with the same "
        f"command, or get the result with `wetline run {folder}`."
    )


def _stay(served: Any) -> None:
    """Go on serving, with what happens at the door told in one plain line each."""
    import time

    try:
        while served.alive():
            for line in served.events.fresh():
                click.echo(line, err=True)
            time.sleep(0.5)
    except KeyboardInterrupt:
        pass


def _serve_watch(stack: Any, watched: Any, folder: Path, share: bool, port: int) -> Any:
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches, folder_name

    watches = Watches(Panels(folder))
    watches.adopt(folder_name(folder), watched)
    served = stack.enter_context(PageServer(watches, share, port))
    _show_doors(served)
    return served


def _show_doors(served: Any) -> None:
    from analysis.page.doors import door_lines

    codes = served.new_codes()
    if len(codes) > 1:
        _show_qr(f"{served.doors.address}#{codes[-1].code}")
    click.echo("\n".join(door_lines(served.doors, codes)), err=True)


def _new_codes(served: Any) -> str:
    from analysis.page.doors import code_lines

    return "\n".join(code_lines(served.new_codes())) if served.share else "Nothing is shared."


def _show_qr(text: str) -> None:
    from analysis.page.qr import qr_terminal

    try:
        click.echo(qr_terminal(text), err=True)
    except UnicodeEncodeError:  # an old console without block letters: the code in words does
        click.echo("(The pairing picture is on the page, under Pair a phone.)", err=True)


def _hear_keys(served: Any) -> None:
    """Make new codes when p is typed, on every system alike."""
    import sys
    import threading

    def work() -> None:
        for line in sys.stdin:
            if line.strip().lower() in ("", "p"):
                click.echo(_new_codes(served), err=True)

    if served.share and sys.stdin is not None and sys.stdin.isatty():
        threading.Thread(target=work, name="keys", daemon=True).start()


@click.command()
@click.argument("folder", type=FOLDER)
@LIKE_OPTION
@SHARE_OPTION
@PORT_OPTION
@click.option("--open/--no-open", "open_it", default=True, help="Open it in the browser.")
def page(folder: Path, references: tuple[Path, ...], share: bool, port: int, open_it: bool) -> None:
    """Open panels, boards and reports as a web page.

    FOLDER is one panel or a folder of panels, which may be empty yet. On this computer only,
    unless --share is given; then a phone can pair, become the camera, and file photos and findings.
    """
    from analysis.page.access.endings import ends_tidily
    from analysis.page.server import PageServer
    from analysis.page.stored.panels import Panels
    from analysis.page.watches import Watches
    from analysis.part.part_folder import is_part
    from analysis.runs.panels.good_run import read_reference
    from analysis.watch.part.good_runs import check_good_runs
    from vision.errors import WetlineError

    panels = Panels(folder)
    if not folder.is_dir():
        raise WetlineError(f"{folder}: no such folder: make it, or check the name")
    parts = [path for path in references if is_part(path)]
    check_good_runs(parts)
    good = [read_reference(path) for path in references if path not in parts]
    watches = Watches(panels, good, parts)
    with ends_tidily(), PageServer(watches, share, port) as served:
        try:
            _show_doors(served)
            _hear_keys(served)
            click.echo("Stop with Ctrl-C.", err=True)
            if open_it:
                click.launch(served.doors.to_open)
            _stay(served)
        except KeyboardInterrupt:  # before it stays
            pass
        finally:
            watches.close()
        click.echo("Stopped. Pictures are kept; runs go on when they are started again.")
