"""QR codes to scan back from paper to the page."""

from io import BytesIO

import segno


def qr_svg(text: str) -> str:
    """A QR code of `text` as SVG with its quiet zone, for `image(bytes(...), format: "svg")`."""
    drawn = BytesIO()
    segno.make(text, error="m", micro=False).save(
        drawn, kind="svg", border=4, xmldecl=False, omitsize=True, dark="#000", light="#fff"
    )
    return drawn.getvalue().decode()
