import click
import pytest
from click.testing import CliRunner

from analysis.commands.options import Measure
from vision.common.quantity import PRESSURE_MBAR

DRIVE = Measure(PRESSURE_MBAR, at_least=100, at_most=1085, likely=(500, 1085))


@click.command()
@click.option("--vacuum", type=DRIVE)
@click.option("--rise", type=Measure(PRESSURE_MBAR, above=0), default=10.0)
def command(vacuum, rise):
    click.echo(f"{vacuum} {rise}")


def run(*arguments):
    return CliRunner().invoke(command, arguments)


@pytest.mark.parametrize(
    ("text", "value"),
    [("800", 800.0), ("0.8 bar", 800.0), ("0,8 bar", 800.0), ("100 mbar", 100.0), ("8e2", 800.0)],
)
def test_values_with_and_without_units(text, value):
    assert run("--vacuum", text).output.split() == [f"{value}", "10.0"]


@pytest.mark.parametrize(
    ("option", "text", "says"),
    [
        ("--vacuum", "0.8", 'must be at least 100; write "0.8 bar"'),
        ("--vacuum", "27", 'write "27 inHg" if that is meant'),
        ("--vacuum", "80", 'must be at least 100; write "80 kPa"'),
        ("--vacuum", "1200", "must be at most 1085"),
        ("--vacuum", "nan", "must be a finite number"),
        ("--rise", "inf", "must be a finite number"),
        ("--rise", "0", "must be above 0"),
        ("--rise", "-3", "must be above 0"),
        ("--rise", "much", "must be a pressure in mbar, bar, kPa"),
        ("--rise", "3 min", "has the unit min"),
        ("--rise", "1,200", "may be 1200 or 1.200"),
    ],
)
def test_what_cannot_be_is_wrong_usage(option, text, says):
    result = run(option, text)
    assert result.exit_code == 2
    assert says in " ".join(result.output.split())
