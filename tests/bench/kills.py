"""`run` and `watch` killed at random moments, by hand: the same on disk as undisturbed, or a fault.

    python tests/bench/kills.py [--kills 100] [--seed 1]

Half of the kills hit `wetline run`, which is then run again; the others hit a `wetline watch`
whose folder another program goes on filling, and each is started again. Every result is compared
byte by byte with that of a run that nobody disturbed.
"""

import argparse
import random
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.made_up.kills import KilledRuns, KilledWatches


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--kills", type=int, default=100)
    ask.add_argument("--seed", type=int, default=1)
    told = ask.parse_args()
    dice = random.Random(told.seed)
    with tempfile.TemporaryDirectory() as scratch:
        runs = KilledRuns(Path(scratch) / "run")
        at_work = sum(runs.once(dice) for _ in range(told.kills // 2))
        print(f"run: {told.kills // 2} kills, {at_work} of them at work: same bytes each time")
        watches = KilledWatches(Path(scratch) / "watch")
        kills = number = 0
        while kills < told.kills - told.kills // 2:
            kills += watches.once(dice, number)
            number += 1
        print(f"watch: {kills} kills over {number} runs: same pictures, same bytes each time")


if __name__ == "__main__":
    main()
