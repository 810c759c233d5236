"""What a printed service sheet says.

Every figure, date and unit arrives as text, formatted by the caller in the language of the sheet;
the modules beside this one lay it out, and say their own words in that language. Empty text means
"not known" or "still open" and is drawn as an empty box or nothing.

`by_text` says who entered something and when ("Ben Sorrel, 25 Nov 2026 07:46"). Sheets signed
before it was kept apart carry both in the entry's own text. Every field added since then has a
default, so that a sheet kept long ago still prints.
"""

from dataclasses import dataclass
from typing import Final, Literal

PageSize = Literal["letter", "a4"]
CheckKind = Literal["tick", "choice", "value"]
Side = Literal["", "A", "B"]


#: What is printed or kept from now on; a sheet kept before prints as it did.
EDITION: Final = 2


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard to read before starting. `read_text` ("done") ticks the box.

    icon: of its sign; by the words of the hazard when empty.

    original: the English that it was translated from, while nobody of the trade who speaks the
    language has read the translation; it is marked, and this stands under it.
    """

    hazard: str
    text: str
    source: str
    read_text: str = ""
    by_text: str = ""
    original: str = ""
    icon: str = ""


@dataclass(frozen=True, slots=True)
class LockoutStep:
    """One step of locking out, or of the way back. `done_text` ("done") ticks the box.

    is_absent: it was said not to apply, so that its box stays empty.

    electrician: it is for a licensed electrician. original: as of a caution. before_text: that it
    had been done and was taken back, and when.
    """

    source: str
    action: str
    done_text: str = ""
    by_text: str = ""
    electrician: bool = False
    is_absent: bool = False
    original: str = ""
    before_text: str = ""


@dataclass(frozen=True, slots=True)
class ZeroGauge:
    """A gauge that must read zero before work starts. `unit` stands after its empty cell.

    before_text: what it had shown before, where that was not zero or was taken back.
    original: as of a caution.
    """

    label: str
    side: Side = ""
    found_text: str = ""
    unit: str = ""
    by_text: str = ""
    original: str = ""
    before_text: str = ""


@dataclass(frozen=True, slots=True)
class PaperCheck:
    """One check of a service.

    kind: "tick" prints done and n/a boxes, "choice" one box for each of `choices`, "value" two
    cells before `unit`, as found and as left.
    electrician: the work is for a licensed electrician, so a name cell stands in place of (or
    beside) the box.
    found_text: what was found; empty while open. is_out: it lies past a limit.
    apart_text: of side B, how far that of side A is from it, once both are there.
    """

    number: int
    text: str
    kind: CheckKind = "tick"
    unit: str = ""
    limit_text: str = ""
    last_text: str = ""
    electrician: bool = False
    found_text: str = ""
    hint: str = ""
    choices: tuple[str, ...] = ()
    by_text: str = ""
    apart_text: str = ""
    is_out: bool = False


@dataclass(frozen=True, slots=True)
class CheckGroup:
    """The checks of one service at one position, e.g.

    "1 Generator GN-118", "oil and filter", "due soon, 182 of 250 h".
    `covers_text` names the smaller services done with it ("part of it: air filter, belts").
    outcome_text: what became of it, once signed ("left undone, comes back").
    notes: what is to be known before its checks, each said with who wrote it. left_text: what was
    left for whoever does it next, likewise. instructions: what its service says to do.
    """

    position: str
    service: str
    state_text: str
    checks: tuple[PaperCheck, ...]
    covers_text: str = ""
    outcome_text: str = ""
    notes: tuple[str, ...] = ()
    left_text: str = ""
    instructions: str = ""


@dataclass(frozen=True, slots=True)
class RunNote:
    """What is said over checks for which something runs. original: as of a caution."""

    text: str
    original: str = ""


@dataclass(frozen=True, slots=True)
class PaperPart:
    """A part to take from its bin.

    `short_text` ("short 1") prints bold by the bin; `used_text` fills the used cell.
    kit_text: the kit that it is a piece of ("of kit PK-220").
    """

    name: str
    number: str = ""
    bin: str = ""
    lot: str = ""
    planned_text: str = ""
    position: str = ""
    short_text: str = ""
    used_text: str = ""
    kit_text: str = ""
    by_text: str = ""


@dataclass(frozen=True, slots=True)
class PaperReading:
    """A counter to read when done, e.g. "Generator, h". `now_text` fills the cell."""

    counter: str
    last_text: str = ""
    now_text: str = ""
    by_text: str = ""


@dataclass(frozen=True, slots=True)
class PaperFound:
    """Work found on the way. is_grave: the rig must not leave before it is put right."""

    text: str
    is_grave: bool = False
    by_text: str = ""


@dataclass(frozen=True, slots=True)
class PaperPicture:
    """An exploded view or a schematic, printed in grey by the parts.

    image: a JPEG or PNG file; empty where it is not there any more, and the paper says so.
    key: the same for the same image, so that it is stored once in a file of many sheets; also
    what a kept sheet finds its image by.
    """

    caption: str
    image: bytes = b""
    key: str = ""


@dataclass(frozen=True, slots=True)
class StripCell:
    """One position in the drawn strip.

    icon: a kind known to `shop.drawing.icons`.
    fraction_used: life ÷ (interval × (1 + tolerance)), clipped to 0..1; None when never read.
    due_fraction: where the due line stands on the same scale, 0..1; None without a service.
    worked: this sheet works on the position, so its cell is framed.
    """

    label: str
    icon: str = ""
    side: Side = ""
    fraction_used: float | None = None
    due_fraction: float | None = None
    state_word: str = ""
    worked: bool = False


@dataclass(frozen=True, slots=True)
class SheetPaper:
    """A whole service sheet, ready to lay out.

    number: printed with at least four digits.
    rig_number: drawn in stencil numerals; None for a component on the bench, which shows `icon`
    instead.
    step: steps done, 1..4 (drafted, handed out, under way, signed), each a filled punch;
    `step_word` names it.
    cells: caption over value, in the head of every page.
    way_back: how the rig comes back to service after its checks.
    note: what the manager wrote for whoever does the work. labour_text: time worked, once signed.
    signed: "" while open. Once signed, empty boxes are left out, since nothing more may be written.
    drawn: the signature as drawn on a phone, "M 3 4 L 5 6 …", in any units, y down; or nothing.
    url: where the QR code leads; "" leaves it out.
    corrected_by: the numbers of the sheets that correct it, as they stand when it is printed; never
    kept with it.
    waits: what of a signed sheet waited for a manager when it was signed, each in words. settled:
    what had waited and was settled before that, each with by whom and how.
    edition: for which of our layouts it was kept. From the second on its sections stand in the
    order of the work, and a component on the bench has headings of its own.
    found_groups, groups, run_groups: the checks before anything is locked out, those while it is,
    and those with the locks off again; with what is said over each. Before the second edition all
    are in `groups`.
    language: BCP 47 tag of the texts: what the paper says itself is said in it too.
    """

    number: int
    rig_number: int | None
    title: str
    shop_name: str
    step: int
    step_word: str
    url: str
    printed_text: str
    subtitle: str = ""
    icon: str = ""
    cells: tuple[tuple[str, str], ...] = ()
    strip: tuple[StripCell, ...] = ()
    cautions: tuple[Caution, ...] = ()
    lockout: tuple[LockoutStep, ...] = ()
    zero_gauges: tuple[ZeroGauge, ...] = ()
    way_back: tuple[LockoutStep, ...] = ()
    groups: tuple[CheckGroup, ...] = ()
    found_groups: tuple[CheckGroup, ...] = ()
    run_groups: tuple[CheckGroup, ...] = ()
    found_note: RunNote | None = None
    groups_note: RunNote | None = None
    run_note: RunNote | None = None
    parts: tuple[PaperPart, ...] = ()
    readings: tuple[PaperReading, ...] = ()
    found_work: tuple[PaperFound, ...] = ()
    pictures: tuple[PaperPicture, ...] = ()
    counters_note: str = ""
    note: str = ""
    started: str = ""
    finished: str = ""
    labour_text: str = ""
    signed: str = ""
    void: bool = False
    held_text: str = ""
    drawn: str = ""
    waits: tuple[str, ...] = ()
    settled: tuple[str, ...] = ()
    corrected_by: tuple[str, ...] = ()
    edition: int = 1
    language: str = "en"

    @property
    def closed(self) -> bool:
        """Whether nothing more may be written on it, so that no empty cell is drawn."""
        return self.void or bool(self.signed)

    @property
    def every_group(self) -> tuple[CheckGroup, ...]:
        """All its checks, in the order of the paper."""
        return (*self.found_groups, *self.groups, *self.run_groups)

    @property
    def number_text(self) -> str:
        """The number as people say it: 412 is "0412"."""
        return f"{self.number:04d}"
