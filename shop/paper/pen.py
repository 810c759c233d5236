"""Draws measured lines, rules and boxes on a canvas.

Positions are PDF points from the lower left corner. Text is gathered and written as one text
object a page, which
costs a third of a text object for each string and keeps the reading order of the page.
"""

from collections.abc import Sequence

from reportlab.pdfgen.canvas import Canvas

from shop.paper.paths import trace
from shop.paper.type import CAP_HEIGHT, LEADING, SMALL, Line, line

MM = 72 / 25.4  # [pt]
HAIR = 0.75  # [pt] row rules
FRAME = 1.0  # [pt] boxes and cells
STEEL = 0.83  # [grey level] 17 % black
BOX = 4 * MM
CELL_WIDTH, CELL_HEIGHT = 20 * MM, 5.5 * MM


class Pen:
    """One page's drawing. Call `finish` before the page is shown."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self._text = canvas.beginText()
        self._stretch = 100.0
        self._font: tuple[str, float] | None = None
        canvas.setFillGray(0)
        canvas.setStrokeGray(0)
        canvas.setLineWidth(HAIR)
        self._line = HAIR

    def finish(self) -> None:
        """Write the gathered text."""
        self.canvas.drawText(self._text)

    # Text

    def write(self, x: float, y: float, text: Line, *, stretch: float = 1.0) -> None:
        """Set a line with its start at x, baseline at y.

        stretch: width of the letters, 1 is natural.
        """
        pen = self._text
        if stretch * 100 != self._stretch:
            self._stretch = stretch * 100
            pen.setHorizScale(self._stretch)
        pen.setTextOrigin(x, y)
        for run in text.runs:
            if (run.face, text.size) != self._font:
                self._font = (run.face, text.size)
                pen.setFont(*self._font)
            pen.textOut(run.text)

    def write_right(self, x: float, y: float, text: Line) -> None:
        """Set a line that ends at x."""
        self.write(x - text.width, y, text)

    def write_centred(self, x: float, y: float, text: Line, *, stretch: float = 1.0) -> None:
        """Set a line with its middle at x."""
        self.write(x - text.width * stretch / 2, y, text, stretch=stretch)

    def paragraph(self, x: float, y: float, lines: Sequence[Line]) -> None:
        """Set lines under one another, the first baseline at y."""
        for text in lines:
            self.write(x, y, text)
            y -= text.size * LEADING

    # Lines and boxes

    def line_width(self, width: float) -> None:
        """Set the width of the lines to come. [pt]"""
        if width != self._line:
            self._line = width
            self.canvas.setLineWidth(width)

    def rule(self, x1: float, y1: float, x2: float, y2: float, width: float = HAIR) -> None:
        """Draw a straight line."""
        self.line_width(width)
        self.canvas.line(x1, y1, x2, y2)

    def box(
        self, x: float, y: float, width: float, height: float, line_width: float = FRAME
    ) -> None:
        """Frame a rectangle; x, y is its lower left corner."""
        self.line_width(line_width)
        self.canvas.rect(x, y, width, height, stroke=1, fill=0)

    def steel(self, x: float, y: float, width: float, height: float) -> None:
        """Fill a rectangle with steel grey; the caller frames it."""
        self.canvas.setFillGray(STEEL)
        self.canvas.rect(x, y, width, height, stroke=0, fill=1)
        self.canvas.setFillGray(0)

    def polygon(self, points: Sequence[tuple[float, float]]) -> None:
        """Fill a closed outline with ink."""
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def tick_box(self, x: float, middle: float, *, ticked: bool = False) -> None:
        """Draw a 4 mm box, centred on `middle`, with a tick when done."""
        y = middle - BOX / 2
        self.box(x, y, BOX, BOX)
        if ticked:
            path = self.canvas.beginPath()
            path.moveTo(x + BOX * 0.2, y + BOX * 0.5)
            path.lineTo(x + BOX * 0.42, y + BOX * 0.24)
            path.lineTo(x + BOX * 0.82, y + BOX * 0.8)
            self.line_width(1.8)
            self.canvas.drawPath(path, stroke=1, fill=0)

    def worded_box(self, x: float, middle: float, word: Line) -> float:
        """Draw an empty box with its word after it; return where it ends."""
        self.tick_box(x, middle)
        self.write(x + BOX + 2, centred(middle, word.size), word)
        return x + worded_width(word)

    def side(self, x: float, middle: float, letter: str) -> None:
        """Draw a side's letter in its shape, 11 pt wide: A in a square, B in a circle."""
        if letter == "B":
            self.line_width(FRAME)
            self.canvas.circle(x + SIDE / 2, middle, SIDE / 2, stroke=1, fill=0)
        else:
            self.box(x, middle - SIDE / 2, SIDE, SIDE)
        text = line(letter, size=SMALL, bold=True)
        self.write_centred(x + SIDE / 2, centred(middle, SMALL), text)

    def torn_tag(self, x: float, middle: float, width: float) -> None:
        """Draw an outlined tag for a word: clipped corners, punched hole, torn right end.

        width: of the word, which begins TAG_WORD from x. [pt]
        """
        low, high = middle - TAG / 2, middle + TAG / 2
        right = x + TAG_WORD + width + 4
        tear = TAG / 4
        path = self.canvas.beginPath()
        path.moveTo(x + 3.5, low)
        path.lineTo(x, low + 3.5)
        path.lineTo(x, high - 3.5)
        path.lineTo(x + 3.5, high)
        for step in range(5):
            path.lineTo(right + (2.5 if step % 2 else 0), high - step * tear)
        path.close()
        self.line_width(1.2)
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.circle(x + 6, middle, 1.7, stroke=1, fill=1)

    def path(
        self,
        data: str,
        *,
        x: float,
        y: float,
        scale: float,
        stroke: float,
        filled: bool = False,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw SVG path data with its origin at x, y.

        stroke, dash: [units of the data's own grid]
        """
        self.canvas.saveState()
        self.canvas.transform(scale, 0, 0, -scale, x, y)
        self.canvas.setLineWidth(stroke)
        if dash:
            self.canvas.setDash(list(dash))
        trace(self.canvas, data, fill=filled)
        self.canvas.restoreState()


SIDE = 11.0  # [pt] a side's letter in its shape
TAG, TAG_WORD = 12.0, 11.5  # [pt] height of a tag; its word, from its left end


def centred(middle: float, size: float) -> float:
    """The baseline that puts capitals of `size` in the middle of a row. [pt]"""
    return middle - size * CAP_HEIGHT / 2


def worded_width(word: Line) -> float:
    """Width of a box and its word. [pt]"""
    return BOX + 2 + word.width
