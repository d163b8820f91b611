"""The command `wetline batch`.

Tested in tests/analysis/batch/test_batch.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command("batch")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--jobs", type=click.IntRange(1, 256), help="Panels at one time.  [default: cores]")
@click.option("--pdf", is_flag=True, help="Also write each report.pdf, part_record.pdf of parts.")
@click.option("--fresh", is_flag=True, help="Do every panel again, changed or not.")
@click.option(
    "--dask",
    metavar="ADDRESS",
    help="Let the workers of a Dask cluster do it, as tcp://192.0.2.7:8786.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No progress, only the summary.")
def batch(
    folder: Path,
    jobs: int | None,
    pdf: bool,
    fresh: bool,
    dask: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Bring every panel and part beneath a folder up to date.

    Finds each folder beneath FOLDER with a panel.toml, or a part.toml with [frames], and does the
    whole job of `wetline run` for those whose files, settings or Wetline itself have changed
    since. Photos, films and pen marks without a panel.toml are named with what to write, parts
    without [frames] as passed over. Ctrl-C stops; the same command goes on.

    Writes results/batch.csv and results/batch.html under FOLDER. The exit code is 0 when every
    panel and part is up to date, 1 when one failed, is being watched or was not reached.
    """
    import json

    from analysis.batch.batch import Wish, run_batch
    from analysis.batch.find import find_panels
    from analysis.batch.fingerprint import made_by
    from analysis.batch.html import summary_page
    from analysis.batch.progress_line import ProgressLine
    from analysis.batch.summary import summary_csv, summary_json, summary_lines
    from analysis.batch.workers import cores
    from analysis.watch.lock import FolderLock
    from vision.common.atomic_files import write_text
    from vision.errors import WetlineError

    found = find_panels(folder)
    if not (found.panels or found.unfinished or found.plans or found.closed):
        raise WetlineError(
            f"{folder}: no panel folder beneath it (one with a panel.toml): make one with "
            "`wetline new FOLDER`"
        )
    results = folder / "results"
    results.mkdir(exist_ok=True)
    line = ProgressLine(sys.stderr, quiet or as_json)
    with FolderLock(results, ".batch.lock", "being brought up to date", "wait for it to end"):
        done = run_batch(found, Wish(jobs or cores(), pdf, fresh, dask), line)
    page = results / "batch.html"
    write_text(results / "batch.csv", summary_csv(done))
    write_text(page, summary_page(done, made_by()["wetline"]))
    if as_json:
        click.echo(json.dumps(summary_json(done), indent=2, ensure_ascii=False))
    else:
        names = {"Table": str(results / "batch.csv"), "Page": str(page)}
        click.echo("\n".join(summary_lines(done, names)))
    if not done.all_fine:
        raise click.exceptions.Exit(1)
