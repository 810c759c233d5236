"""sheet-pdf: a printed service sheet, beside a bare canvas that draws the same text and lines.

The bare canvas replays what the sheet drew, recorded once: each run of text as one `drawString`
at its known place, each line, box and path as it was. It need not measure, break, or lay out.
"""

import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from io import BytesIO
from typing import Any, Final
from unittest import mock

from pypdf import PdfReader
from reportlab.lib.pagesizes import LETTER
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from reportlab.pdfgen.textobject import PDFTextObject

from shop.paper import document
from shop.paper import sheet as paper
from shop.paper.sheet import CheckGroup, PaperCheck, SheetPaper
from shop.paper.stack import StackPaper, StackRow, stack_pdf
from tests.benchmarks.database import Databases
from tests.benchmarks.measure import Options, Result, must, say, take_turns
from tests.shop.paper import samples

NAME: Final = "sheet-pdf"
GOAL: Final = 1.35
#: Sheets in one file, checks on each: with boxes for a gloved hand sixteen checks take two pages
#: and forty take three.
SIZES: Final = ((1, 16), (1, 40), (10, 40), (100, 40))
#: A file of a hundred takes seconds, and its times differ little: fewer rounds of it.
MOST_ROUNDS: Final = {100: 3}
#: From 10 sheets to 100 the most memory may grow by so much for each byte written: one is the
#: file, two are what a PDF library keeps of pages, bookmarks and links until it lists them.
MOST_MEMORY: Final = 3.5
PAGES: Final = {16: 2, 40: 3}
#: Pages of the list on top, by the sheets in the file.
LISTED: Final = {1: 0, 10: 1, 100: 6}
#: What the sheets draw with. What else a canvas can do, they do not need.
DRAWN_WITH: Final = (
    "line", "rect", "circle", "drawPath", "clipPath", "setLineWidth", "setFillGray",
    "setStrokeGray", "setDash", "saveState", "restoreState", "transform", "translate", "scale",
    "beginForm", "endForm", "doForm", "showPage", "bookmarkHorizontal", "addOutlineEntry",
    "linkRect", "drawText", "beginPath", "beginText",
)  # fmt: skip
#: A step of the bare canvas.
Step = Callable[[Canvas], object]


def run(options: Options, databases: Databases) -> list[Result]:
    """One sheet, a longer one, then a stack of them in one file. Needs no database."""
    sizes = SIZES[:2] if options.quick else SIZES
    results = [measured(options, sheets=sheets, checks=checks) for sheets, checks in sizes]
    if not options.quick:
        _say_memory()
    return results


def measured(options: Options, *, sheets: int, checks: int) -> Result:
    """So many sheets in one file, each with so many checks."""
    stack = list(stack_of(sheets, checks))
    steps = recorded(stack)
    ours: Callable[..., bytes] = lambda _=0: made(stack)  # noqa: E731
    floor: Callable[..., bytes] = lambda _=0: bare(steps)  # noqa: E731
    check(ours(), floor(), stack)
    rounds = min(options.rounds, MOST_ROUNDS.get(sheets, options.rounds))
    floor_s, ours_s = take_turns(ours, floor, rounds=rounds, warm=min(rounds, 2))
    size = f"{sheets} × {PAGES[checks]} pages, {checks} checks"
    if sheets > 1:
        size += ", list"
    return Result(NAME, "none", size, floor_s, ours_s, GOAL)


def made(sheets: Sequence[SheetPaper]) -> bytes:
    """What the shop prints: a sheet alone, or several behind their list."""
    if len(sheets) == 1:
        return paper.sheets_pdf(sheets)
    return stack_pdf(list_of(len(sheets)), sheets)


def list_of(sheets: int) -> StackPaper:
    """The list that lies on the sheets of `stack_of`."""
    row = StackRow("", "04 Kestrel", "packing; oil and filter; full rebuild", "Thu 26 Nov")
    return StackPaper(
        title="Service sheets, 23 – 29 Nov 2026",
        shop_name="Tern Hollow Insulating",
        printed_text="Printed 25 Nov 2026 14:10",
        rows=tuple(replace(row, number_text=f"{number:04d}") for number in range(1, sheets + 1)),
    )


def stack_of(sheets: int, checks: int) -> Iterator[SheetPaper]:
    """Sheets with checks of all kinds, the strip of a rig and a QR code of their own."""
    known = [check for group in samples.GROUPS for check in group.checks]
    groups = tuple(
        CheckGroup(
            f"{place} Pump P-{place}",
            "packing",
            "due soon, 182 of 250 h",
            tuple(
                replace(known[number % len(known)], number=number + 1)
                for number in range((place - 1) * checks // 4, place * checks // 4)
            ),
        )
        for place in range(1, 5)
    )
    for number in range(1, sheets + 1):
        yield samples.sheet(groups=groups, number=number, url=f"https://shop.example/s/{number}")


def check(ours_made: bytes, floor_made: bytes, stack: Sequence[SheetPaper]) -> None:
    """The sheets say all that they should, and the bare canvas says the same."""
    ours, floor = PdfReader(BytesIO(ours_made)), PdfReader(BytesIO(floor_made))
    wanted = LISTED[len(stack)] + sum(PAGES[len(_checks(sheet))] for sheet in stack)
    must(len(ours.pages) == wanted, f"the sheets take {len(ours.pages)} pages, not {wanted}")
    must(len(floor.pages) == len(ours.pages), "the bare canvas has other pages")
    said = "".join("".join(page.extract_text() for page in ours.pages).split())
    same = "".join("".join(page.extract_text() for page in floor.pages).split())
    must(sorted(said) == sorted(same), "the bare canvas says something else")
    for sheet in stack:
        for each in _checks(sheet):
            first = "".join(each.text.split()[:3])
            must(first in said, f"the sheet does not say “{each.text}”")
    must(all("/XObject" in page["/Resources"] for page in ours.pages), "a page has no QR code")


def _checks(sheet: SheetPaper) -> list[PaperCheck]:
    return [each for group in sheet.every_group for each in group.checks]


def _say_memory() -> None:
    """What a stack takes while it is made: it should grow by its own size, and by no more."""
    _peak(10)  # What is cached for any stack is there before, and counts for none.
    few, many = (_peak(sheets) for sheets in (10, 100))
    grown, written = many[0] - few[0], many[1] - few[1]
    say(
        f"  a stack of 100 sheets takes {many[0] / 1e6:.1f} MB at most for {many[1] / 1e6:.1f} MB "
        f"written; from 10 sheets to 100 the peak grows by {grown / 1e6:.1f} MB, "
        f"{grown / written:.1f} bytes for each byte written"
    )
    must(grown <= MOST_MEMORY * written, "a stack takes far more memory than it writes")


def _peak(sheets: int) -> tuple[int, int]:
    """The most memory at one time while a stack is made, and its size. [bytes]"""
    tracemalloc.start()
    try:
        written = stack_pdf(list_of(sheets), stack_of(sheets, checks=40))
        return tracemalloc.get_traced_memory()[1], len(written)
    finally:
        tracemalloc.stop()


# --- the bare canvas ----------------------------------------------------------------------------


def recorded(stack: Sequence[SheetPaper]) -> list[Step]:
    """Draw the sheets once, and return every step that put something on paper."""
    with mock.patch.object(document, "Canvas", Recorder):
        Recorder.steps = []
        made(stack)
        return Recorder.steps


def bare(steps: Sequence[Step]) -> bytes:
    """Draw the steps on a canvas."""
    file = BytesIO()
    canvas = Canvas(file, pagesize=LETTER, pageCompression=1, invariant=1)
    for step in steps:
        step(canvas)
    canvas.save()
    return file.getvalue()


class RecordedPath(PDFPathObject):
    """A path that remembers how it was built."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.built: list[tuple[str, tuple[Any, ...]]] = []

    def rebuilt(self, canvas: Canvas) -> PDFPathObject:
        path = canvas.beginPath()
        for name, args in self.built:
            getattr(path, name)(*args)
        return path


def _remember(name: str) -> Callable[..., None]:
    built = getattr(PDFPathObject, name)

    def remembered(self: RecordedPath, *args: Any) -> None:
        self.built.append((name, args))
        built(self, *args)

    return remembered


for _name in ("moveTo", "lineTo", "curveTo", "rect", "circle", "close"):
    setattr(RecordedPath, _name, _remember(_name))


@dataclass(slots=True)
class Written:
    """One run of text as it stands on the page."""

    x: float
    y: float
    face: str
    size: float
    text: str
    stretch: float


@dataclass(slots=True)
class RecordedText:
    """A text object that also remembers its runs, each at its own place."""

    text: PDFTextObject
    runs: list[Written] = field(default_factory=list)
    x: float = 0
    y: float = 0
    face: str = ""
    size: float = 0
    stretch: float = 1

    def setTextOrigin(self, x: float, y: float) -> None:
        self.x, self.y = x, y
        self.text.setTextOrigin(x, y)

    def setFont(self, face: str, size: float) -> None:
        self.face, self.size = face, size
        self.text.setFont(face, size)

    def setHorizScale(self, percent: float) -> None:
        self.stretch = percent / 100
        self.text.setHorizScale(percent)

    def textOut(self, text: str) -> None:
        self.runs.append(Written(self.x, self.y, self.face, self.size, text, self.stretch))
        self.x += stringWidth(text, self.face, self.size) * self.stretch
        self.text.textOut(text)


class Recorder(Canvas):
    """A canvas that keeps what is drawn on it as steps for another."""

    steps: list[Step] = []
    _depth = 0


def _recording(name: str) -> Callable[..., Any]:
    drawn = getattr(Canvas, name)

    def recording(self: Recorder, *args: Any, **kwargs: Any) -> Any:
        if self._depth:
            return drawn(self, *args, **kwargs)
        if name == "beginPath":
            return RecordedPath()
        if name == "beginText":
            return RecordedText(Canvas.beginText(self))
        if name == "drawText":
            self.steps.extend(_strings(args[0].runs))
            args = (args[0].text,)
        elif args and isinstance(args[0], RecordedPath):
            path, *rest = args
            self.steps.append(lambda canvas: drawn(canvas, path.rebuilt(canvas), *rest, **kwargs))
        else:
            self.steps.append(lambda canvas: drawn(canvas, *args, **kwargs))
        self._depth += 1
        try:
            return drawn(self, *args, **kwargs)
        finally:
            self._depth -= 1

    return recording


for _name in DRAWN_WITH:
    setattr(Recorder, _name, _recording(_name))


def _strings(runs: Sequence[Written]) -> list[Step]:
    steps: list[Step] = []
    face: tuple[str, float] | None = None
    for run in runs:
        if run.stretch != 1:
            steps.append(lambda canvas, run=run: _stretched(canvas, run))
            continue
        if (run.face, run.size) != face:
            face = (run.face, run.size)
            steps.append(lambda canvas, face=face: canvas.setFont(*face))
        steps.append(lambda canvas, run=run: canvas.drawString(run.x, run.y, run.text))
    return steps


def _stretched(canvas: Canvas, run: Written) -> None:
    text = canvas.beginText(run.x, run.y)
    text.setHorizScale(run.stretch * 100)
    text.setFont(run.face, run.size)
    text.textOut(run.text)
    canvas.drawText(text)
