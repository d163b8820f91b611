"""Which mutants of the physics, the verdicts and the intervals the tests kill, by sample.

Run by hand in the project's folder, after ``mutmut run`` has made the mutants (all of them take
hours; interrupt it once it counts)::

    python tests/bench/mutants.py sample 400 1 > names.txt   # 400 names, seed 1
    xargs mutmut run --max-children 2 < names.txt
    python tests/bench/mutants.py report names.txt           # share killed, and who lived

Mutants that only change the words of a message (a text with a blank in it) are left out: what a
message must say is for its own tests.
"""

import ast
import json
import random
import sys
from collections import Counter
from pathlib import Path

MUTANTS = Path("mutants")
ROOMS = ("fit", "forecast", "shop")
SURVIVED, NO_TESTS = 0, (5, 33)


def results(folder=MUTANTS):
    """Return the exit code of every mutant, None where it was not run yet."""
    out = {}
    for room in ROOMS:
        for path in sorted((folder / "analysis" / room).glob("*.meta")):
            out |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return out


def bodies(folder=MUTANTS):
    """Return for every mutant the functions before and after, as syntax trees."""
    out = {}
    for room in ROOMS:
        for path in sorted((folder / "analysis" / room).glob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            functions = {
                node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)
            }
            for name, node in functions.items():
                base, mark, number = name.rpartition("__mutmut_")
                original = functions.get(f"{base}__mutmut_orig")
                if mark and number.isdigit() and original is not None:
                    out[f"analysis.{room}.{path.stem}.{name}"] = (original, node)
    return out


def only_words(before, after):
    """Tell whether two functions differ only in texts that have a blank in them."""
    texts = Counter(_texts(before))
    changed = (texts - Counter(_texts(after))) + (Counter(_texts(after)) - texts)
    return _shape(before) == _shape(after) and all(" " in text for text in changed)


def _texts(tree):
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]


def _shape(tree):
    return [
        (type(node).__name__, _plain(node))
        for node in ast.walk(tree)
        if not isinstance(node, ast.FunctionDef)
    ]


def _plain(node):
    if isinstance(node, ast.Constant):
        return "text" if isinstance(node.value, str) else repr(node.value)
    return getattr(node, "id", getattr(node, "attr", getattr(node, "arg", "")))


def sample(count, seed):
    """Return so many names of mutants that change more than words, evenly over all."""
    names = [name for name, (a, b) in sorted(bodies().items()) if not only_words(a, b)]
    return random.Random(seed).sample(names, min(count, len(names)))


def report(names):
    """Print the share killed in each room, and the names of those that lived."""
    codes = results()
    ran = [name for name in names if codes.get(name) is not None]
    lived = [name for name in ran if codes[name] in (SURVIVED, *NO_TESTS)]
    for room in (*ROOMS, ""):
        of_room = [name for name in ran if name.startswith(f"analysis.{room}")]
        left = sum(name.startswith(f"analysis.{room}") for name in lived)
        killed = 100 * (1 - left / max(len(of_room), 1))
        print(f"{room or 'all':10s} {killed:5.1f} % of {len(of_room)} mutants killed")
    print("\n".join(lived))


if __name__ == "__main__":
    if sys.argv[1] == "sample":
        print("\n".join(sample(int(sys.argv[2]), int(sys.argv[3]))))
    else:
        report(Path(sys.argv[2]).read_text(encoding="utf-8").split())
