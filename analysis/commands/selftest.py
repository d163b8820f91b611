"""The command `wetline selftest`.

Tested in tests/analysis/selftest/test_report.py.
"""

from __future__ import annotations

import click


@click.command("selftest")
@click.option("--json", "as_json", is_flag=True, help="Print the results as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="Only what is off, and the count.")
def selftest(as_json: bool, quiet: bool) -> None:
    """Check this installation against known values.

    Works out values that stand in standards, handbooks and papers, with the code of every answer,
    and prints source, expected and found. The exit code is 1 if one is off.
    """
    import json

    from analysis.selftest.report import report_json, report_lines, run_checks

    results = run_checks()
    if as_json:
        click.echo(json.dumps(report_json(results), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(report_lines(results, quiet)))
    if not all(result.ok for result in results):
        raise click.exceptions.Exit(1)
