"""Coverage-guided fuzz of the readers, by hand, until stopped or for so many inputs.

    python tests/fuzz/guided.py settings -runs=20000

The first word is a reader of `tests.fuzz.readers` (or ``all``, which draws one per input); the
rest goes to libFuzzer. It needs the `fuzz` extra, which has wheels for Linux and macOS only.
"""

import sys
import tempfile
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

with atheris.instrument_imports(include=["vision", "analysis", "tomllib", "ezdxf", "svgpathtools"]):
    from tests.fuzz.readers import READERS, feed

MOST_S = 20


def main() -> None:
    name = sys.argv.pop(1) if len(sys.argv) > 1 else "all"
    folder = Path(tempfile.mkdtemp())
    corpus = Path(tempfile.mkdtemp())
    readers = list(READERS.values()) if name == "all" else [READERS[name]]
    for number, reader in enumerate(readers):
        (corpus / str(number)).write_bytes(bytes([number]) + reader.sound)

    def one(data: bytes) -> None:
        if data:
            feed(readers[data[0] % len(readers)], data[1:], folder)

    arguments = [sys.argv[0], f"-timeout={MOST_S}", "-rss_limit_mb=1500", "-max_len=6000"]
    atheris.Setup([*arguments, *sys.argv[1:], str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
