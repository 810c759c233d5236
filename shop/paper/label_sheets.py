"""Sheets of labels as they are sold: by their measures, since makers' numbers change.

The measures are those of common sheets; common practice, no source.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """A page of equal labels. All measures in mm; left, top: of the first label.

    pitch_x, pitch_y: from the edge of one label to the same edge of the next.
    """

    slug: str
    page_name: str
    page_width: float
    page_height: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    pitch_x: float
    pitch_y: float

    @property
    def count(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    @property
    def name(self) -> str:
        """ "Letter, 3 × 10, 66.7 × 25.4 mm"."""
        size = f"{round(self.width, 1):g} × {round(self.height, 1):g} mm"
        return f"{self.page_name}, {self.columns} × {self.rows}, {size}"

    def corner(self, place: int) -> tuple[float, float]:
        """Return the lower left corner of a label, from the lower left corner of the page. [mm]

        place: 0 to count − 1, along the rows from the upper left. Raises ValueError beyond.
        """
        if not 0 <= place < self.count:
            raise ValueError(f"a page of this sheet has {self.count} labels")
        row, column = divmod(place, self.columns)
        bottom = self.page_height - self.top - row * self.pitch_y - self.height
        return self.left + column * self.pitch_x, bottom


SHEETS: Final = {
    sheet.slug: sheet
    for sheet in (
        LabelSheet(
            "letter-3x10", "Letter", 215.9, 279.4, 3, 10, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4
        ),
        LabelSheet(
            "letter-2x5", "Letter", 215.9, 279.4, 2, 5, 101.6, 50.8, 3.96875, 12.7, 106.3625, 50.8
        ),
        LabelSheet("a4-3x8", "A4", 210.0, 297.0, 3, 8, 70.0, 37.0, 0.0, 0.5, 70.0, 37.0),
        LabelSheet("a4-2x7", "A4", 210.0, 297.0, 2, 7, 99.1, 38.1, 4.65, 15.15, 101.6, 38.1),
    )
}
