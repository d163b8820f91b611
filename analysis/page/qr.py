"""The pairing picture, on the page and in the terminal.

Tested in tests/analysis/page/access/test_pairing.py.
"""

from __future__ import annotations

import io


def qr_svg(text: str) -> str:
    """Draw a QR picture as SVG (ISO/IEC 18004, by the segno library)."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", scale=8, border=4)
    return out.getvalue().decode("utf-8")


def qr_terminal(text: str) -> str:
    """Draw a QR picture for the terminal."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out=out, compact=True)
    return out.getvalue()
