"""Coverage-guided fuzz of the readers, by hand, until stopped or for so many inputs.

    python tests/fuzz/guided.py settings -runs=20000

The first word is a reader of `tests.fuzz.readers` (or ``all``, which draws one per input); the
rest goes to libFuzzer. It needs the `fuzz` extra, whose atheris has wheels for Linux.
"""

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LOOKED_AT = ["vision", "analysis", "tomllib", "ezdxf", "svgpathtools"]
LIMITS = ["-timeout=60", "-rss_limit_mb=1500", "-max_len=6000"]


def main() -> None:
    import atheris

    sys.path.insert(0, str(ROOT))
    with atheris.instrument_imports(include=LOOKED_AT):
        from tests.fuzz.readers import READERS, feed
    name = sys.argv.pop(1) if len(sys.argv) > 1 else "all"
    readers = list(READERS.values()) if name == "all" else [READERS[name]]
    folder, corpus = Path(tempfile.mkdtemp()), Path(tempfile.mkdtemp())
    for number, reader in enumerate(readers):
        (corpus / str(number)).write_bytes(bytes([number]) + reader.sound)

    def one(data: bytes) -> None:
        if data:
            feed(readers[data[0] % len(readers)], data[1:], folder)

    found = f"-artifact_prefix={folder}/"
    atheris.Setup([sys.argv[0], *LIMITS, found, *sys.argv[1:], str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
