"""The camera's commands. Each reads the panel folder, does one thing, and says where to look.

Tested in tests/test_whole_job.py.
"""

from __future__ import annotations

from pathlib import Path

import click

FOLDER = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
QUIET = click.option("--quiet", "-q", is_flag=True, help="No progress and no hints.")
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print results.json.")


@click.command()
@FOLDER
@AS_JSON
@QUIET
def track(folder: Path, as_json: bool, quiet: bool) -> None:
    """Find the flow front in every frame.

    Writes front.csv, arrival.npz and the front lines on the last photo under FOLDER/results.
    """
    import json

    from vision.common.atomic_files import plain
    from vision.front.results import results_json
    from vision.tracking.job import track_folder

    job = track_folder(folder, quiet or as_json)
    if as_json:
        click.echo(json.dumps(plain(results_json(job.tracked)), indent=2, ensure_ascii=False))
        return
    for line in job.lines():
        click.echo(line)
    if not quiet:
        click.echo(f"Written: {folder / 'results'}")
