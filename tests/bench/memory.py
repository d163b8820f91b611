"""Peak memory and time of `wetline run` against the number of frames.

    python tests/bench/memory.py [--counts 60 1000] [--width 1280]

Each count runs in a process of its own, whose peak memory the system tells (Linux and macOS).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from tracking_speed import ROOT, make_run

CHILD = """
import resource, sys, time
sys.path.insert(0, sys.argv[2])
from click.testing import CliRunner
from wetline import main
began = time.perf_counter()
result = CliRunner().invoke(main, ["run", sys.argv[1], "--quiet"])
assert result.exit_code == 0, result.output
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak / (1024 if sys.platform != "darwin" else 1024**2), time.perf_counter() - began)
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--counts", type=int, nargs="+", default=[60, 1000])
    parser.add_argument("--width", type=int, default=1280)
    asked = parser.parse_args()
    print("| frames | peak MB | s | ms per frame |\n|---|---|---|---|")
    for count in asked.counts:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name) / "panel"
            make_run(folder, asked.width, count)
            done = subprocess.run(
                [sys.executable, "-c", CHILD, str(folder), str(ROOT)],
                capture_output=True,
                text=True,
                check=True,
            )
        peak, seconds = map(float, done.stdout.split())
        print(f"| {count} | {peak:.0f} | {seconds:.1f} | {1000 * seconds / count:.1f} |")


if __name__ == "__main__":
    main()
