"""What `wetline drawdown`, `resin` and `forecast` leave under results/, with what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.part.part_folder import is_part
from vision.common.atomic_files import plain, read_json, write_json
from vision.common.outside.input_files import file_hash
from vision.errors import WetlineError
from vision.settings.settings_stamp import ANSWERED, settings_stamp

if TYPE_CHECKING:
    from analysis.shop.drawdown import Drawdown
    from analysis.shop.gauge_log import GaugeLog

RESTS_ON = "rests_on"
_TABLES = (*ANSWERED, "part")


@dataclass(frozen=True)
class Kept:
    """A result kept from an earlier command.

    Attributes
    ----------
    values : mapping, or None
        None where there is none that can be read.
    stale : bool
        Whether what it rests on has changed since, so that it says nothing of today.
    """

    values: Mapping[str, Any] | None = None
    stale: bool = False

    @property
    def good(self) -> Mapping[str, Any]:
        """The values where they hold today, else nothing."""
        return {} if self.stale or self.values is None else self.values


def keep_result(
    folder: Path, name: str, values: Mapping[str, Any], log: Path | None = None
) -> None:
    """Write ``results/NAME.json`` with a stamp of what it rests on.

    Parameters
    ----------
    folder : Path
        The panel folder.
    name : str
        As ``"resin"``.
    values : mapping
        Plain values.
    log : Path, optional
        The one file that it rests on; left out, panel.toml and the front that was tracked.
    """
    stamp = _stamp(folder) if log is None else file_hash(log)
    write_json(folder / "results" / f"{name}.json", {**values, RESTS_ON: stamp})


def keep_drawdown(log: Path, readings: GaugeLog, found: Drawdown, folder: Path | None) -> None:
    """Keep a drawdown in the folder of its panel or part: the one given, or that the log lies in.

    Nothing is kept where the log lies in no such folder and none is given.

    Raises
    ------
    WetlineError
        If the folder given is neither a panel's nor a part's.
    """
    if folder is None:
        home = next((p for p in (log.parent, log.parent.parent) if _has_record(p)), None)
    elif _has_record(folder):
        home = folder
    else:
        raise WetlineError(f"{folder}: no panel.toml: make one with `wetline new {folder}`")
    if home is None:
        return
    inside = home.resolve() in log.resolve().parents
    name = log.resolve().relative_to(home.resolve()).as_posix() if inside else log.name
    points = {"time_min": readings.time_s / 60.0, "bag_mbar": readings.bag_mbar}
    values = {**asdict(found), "log_file": name, "log": plain(points)}
    keep_result(home, "drawdown", plain(values), log)


def _has_record(folder: Path) -> bool:
    return (folder / "panel.toml").is_file() or is_part(folder)


def kept_result(folder: Path, name: str, log: str = "") -> Kept:
    """Read ``results/NAME.json`` back and find whether it still holds.

    Parameters
    ----------
    folder : Path
        The panel folder.
    name : str
    log : str
        Key under which the result names the file that it rests on; a log that is no longer there
        is no reason to doubt it.
    """
    path = folder / "results" / f"{name}.json"
    if not path.is_file():
        return Kept()
    try:
        values = read_json(path)
    except WetlineError:
        return Kept()
    stamp = values.get(RESTS_ON)
    if not log:
        return Kept(values, stamp != _stamp(folder))
    source = folder / str(values.get(log) or "")
    return Kept(values, source.is_file() and stamp != file_hash(source))


def _stamp(folder: Path) -> str:
    front = folder / "results" / "front.csv"
    told = settings_stamp(folder, _TABLES)
    return f"{told} {file_hash(front)[:16] if front.is_file() else 'not tracked'}"
