"""The QR code as vector squares, stored once in the file and shown on each page."""

import segno
from reportlab.pdfgen.canvas import Canvas

QUIET = 4  # [modules] the quiet zone of ISO/IEC 18004:2015, 6.3.8


def matrix(url: str) -> tuple[bytearray, ...]:
    """The dark (1) and light (0) modules, without quiet zone; error correction M, which
    survives a thumb print.
    """
    return tuple(segno.make(url, error="m", micro=False).matrix)


def store(canvas: Canvas, *, name: str, url: str) -> int:
    """Keep the code as form `name`, one unit a module; return its width with quiet zone. [modules]

    Call it while the page is still empty.
    """
    rows = matrix(url)
    width = len(rows) + 2 * QUIET
    canvas.beginForm(name, 0, 0, width, width)
    canvas.setFillGray(0)
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        y = width - QUIET - 1 - down
        start = None
        for across, dark in enumerate((*row, 0)):
            if dark and start is None:
                start = across
            elif not dark and start is not None:
                path.rect(QUIET + start, y, across - start, 1)
                start = None
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.endForm()
    return width


def show(canvas: Canvas, *, name: str, modules: int, x: float, y: float, size: float) -> None:
    """Show a stored code in a square of `size`, its lower left corner at x, y. [pt]"""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(size / modules, size / modules)
    canvas.doForm(name)
    canvas.restoreState()
