"""Long fuzz by hand: numbered hurts of every file, met by every command, each with a time limit.

    python tests/bench/fuzz.py [--inputs 5000] [--seed 1] [--workers 2] [--only WORDS]

A worker that hangs is killed and told. Memory is bounded where the system can
(`resource.setrlimit`). The last lines say how many inputs there were, how they ended, and the
greatest memory of a worker. Exit code 1 if anything was found.
"""

import argparse
import collections
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HANGS_S = 60.0
MOST_BYTES = 4_000_000_000
"""Address space of a worker: libraries and their threads take more than a gigabyte of it."""


def main() -> int:
    ask = argparse.ArgumentParser()
    ask.add_argument("--inputs", type=int, default=5000)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--workers", type=int, default=2)
    ask.add_argument("--only", default="")
    ask.add_argument("--worker", nargs=2, type=int, metavar=("FIRST", "STEP"))
    told = ask.parse_args()
    if told.worker:
        work(told, *told.worker)
        return 0
    tally: collections.Counter[str] = collections.Counter()
    found: list[str] = []
    threads = [
        threading.Thread(target=tend, args=(told, k, tally, found)) for k in range(told.workers)
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    kinds = collections.Counter(text.split("\n")[1][:100] for text in found)
    for text, count in kinds.items():
        print(f"{count} x {text}")
    print(", ".join(f"{name}: {count}" for name, count in sorted(tally.items())))
    return int(bool(found))


def tend(told, first: int, tally, found) -> None:
    """Keep one worker at work until its share is done; one that hangs is killed and replaced."""
    at = first
    while at < told.inputs:
        at = _one_worker(told, at, tally, found)


def _one_worker(told, at: int, tally, found) -> int:
    command = [sys.executable, __file__, "--inputs", str(told.inputs), "--seed", str(told.seed)]
    command += ["--only", told.only, "--worker", str(at), str(told.workers)]
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment
    ) as process:
        heard = [time.monotonic()]
        watch = threading.Thread(target=_watch, args=(process, heard), daemon=True)
        watch.start()
        for line in process.stdout:
            heard[0] = time.monotonic()
            told_back = json.loads(line)
            at = told_back["input"] + told.workers
            tally["inputs"] += 1
            for code, count in told_back["codes"].items():
                tally[f"exit code {code}"] += count
            tally["greatest memory of a worker, MB"] = max(
                tally["greatest memory of a worker, MB"], told_back["mb"]
            )
            for text in told_back["found"]:
                found.append(text)
                print(f"## input {told_back['input']}, {told_back['case']}\n{text}", flush=True)
    if at < told.inputs:
        why = "hung or died" if process.returncode else "stopped"
        found.append(f"input {at}\n{why} ({process.returncode})")
        print(f"## input {at}: {why} ({process.returncode})", flush=True)
        at += told.workers
    return at


def _watch(process, heard) -> None:
    while process.poll() is None:
        if time.monotonic() - heard[0] > HANGS_S:
            process.kill()
        time.sleep(1.0)


def work(told, first: int, step: int) -> None:
    """Do every `step`-th input and tell of each on a line of JSON."""
    sys.path.insert(0, str(ROOT))
    _bound_memory()
    warnings.simplefilter("error")
    from tests.fuzz.cases import CASES, borne, borne_options
    from tests.fuzz.readers import READERS, feed_hurt
    from tests.made_up import knocks
    from tests.made_up.hurts import choices_of

    codes: collections.Counter[int] = collections.Counter()
    call = knocks.call

    def counted(*arguments, **more):
        result = call(*arguments, **more)
        codes[result.exit_code] += 1
        return result

    knocks.call = counted
    cases = {case.name: case for case in CASES} | READERS | {"options": None}
    names = [name for name in cases if told.only in name]
    with tempfile.TemporaryDirectory() as scratch:
        work_in, bases = Path(scratch) / "work", Path(scratch) / "bases"
        for folder in (work_in, bases):
            folder.mkdir()
        for number in range(first, told.inputs, step):
            name = names[number % len(names)]
            case = cases[name]
            choices = choices_of(told.seed * 1_000_000 + number)
            codes.clear()
            if case is None:
                found = borne_options(choices, work_in, bases)
            elif name in READERS:
                found = feed_hurt(case, choices, work_in)
            else:
                found = borne(case, choices, work_in, bases)
            print(
                json.dumps(
                    {"input": number, "case": name, "found": found,
                     "codes": dict(codes), "mb": _greatest_mb()}
                ),
                flush=True,
            )  # fmt: skip


def _bound_memory() -> None:
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))


def _greatest_mb() -> int:
    try:
        import resource
    except ImportError:
        return 0
    return int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


if __name__ == "__main__":
    sys.exit(main())
