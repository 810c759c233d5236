"""What is known where work is done: notes, pictures, files, and what was written last time."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final
from uuid import UUID

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.translation import gettext, gettext_lazy

from equipment.models import Known, Service, ServiceVersion
from equipment.services.knowing import KnownAbout, known_about
from equipment.services.photos import file_of, is_stored
from shop.models import LineNote, Person, ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.paper.content import PaperPicture
from shop.services.locking import lock_open_sheet, start_work
from shop.services.refusals import SheetRefused, refuse_long

#: Of the last signed sheets of a component so many are read.
LAST_SHEETS: Final = 2
#: More of what was written last time nobody reads with gloves on.
MOST_WRITTEN: Final = 6
SIGNED: Final = ServiceSheet.State.SIGNED


@dataclass(frozen=True, slots=True)
class Written:
    """Something that was written on a signed sheet.

    about: the check it was written at; empty where it was left for the next one. author: whose hand
    it is, not who keyed it in from paper. component: the one worked on, or the rig where the work
    was on the whole of it.
    """

    text: str
    about: str
    author: str
    at: datetime
    sheet: int
    component: str
    service: str
    #: Whether it was the same component, or the same rig where there was none.
    is_same: bool

    @property
    def is_for_next(self) -> bool:
        """Whether it was left for whoever does it next."""
        return not self.about


@dataclass(slots=True)
class KnownFor:
    """What is known for one line of a sheet.

    type_id, service_id: where more of it stands, 0 for none. left: the note for the next one that
    this line has now.
    """

    line: SheetLine
    type_id: int = 0
    service_id: int = 0
    known: KnownAbout = field(default_factory=KnownAbout)
    written: list[Written] = field(default_factory=list)
    left: LineNote | None = None

    @property
    def pictures(self) -> list[Known]:
        """The printed one first."""
        return sorted(self.known.pictures, key=lambda row: row.printed_since is None)

    @property
    def notes(self) -> list[Known]:
        return self.known.notes

    @property
    def files(self) -> list[Known]:
        return self.known.files

    @property
    def first_words(self) -> str:
        """How it begins; empty where it is only pictures and files."""
        texts = [row.text for row in self.written] + [row.text for row in self.notes]
        return texts[0] if texts else ""

    def __bool__(self) -> bool:
        return bool(self.known or self.written)


@dataclass(frozen=True, slots=True)
class _About:
    """What one line is about, by keys; 0 for none."""

    component: int
    type: int
    version: int
    service: int
    rig: int


def known_for(lines: Iterable[SheetLine]) -> dict[int, KnownFor]:
    """What is known for each line, by its key: of the make of its component, of its service and
    those it includes, and what was written on the last signed sheets. Eight queries, however
    many lines.
    """
    by_key = {line.pk: line for line in lines}
    about = _about(by_key)
    included = _included({each.version for each in about.values() if each.version})
    of_types, of_services = known_about(
        {each.type for each in about.values() if each.type},
        {
            service
            for each in about.values()
            for service in (each.service, *included.get(each.version, ()))
            if service
        },
    )
    written = _written(by_key, about)
    left = left_for_next(by_key)
    found = {}
    for key, line in by_key.items():
        each = about[key]
        made = KnownFor(line, each.type, each.service, left=left.get(key))
        places = [
            of_services.get(service) for service in (each.service, *included.get(each.version, ()))
        ]
        for known in (of_types.get(each.type), *places):
            for row in known.rows if known else ():
                made.known.put(row)
        made.written = written.get(key, [])
        found[key] = made
    return found


def left_for_next(lines: Iterable[int]) -> dict[int, LineNote]:
    """The note for the next one that each of these lines has now, by the line's key. One query."""
    notes = LineNote.objects.filter(line__in=list(lines))
    return _notes_in_force(notes.select_related("author"))


@transaction.atomic
def leave_note(
    *,
    line: SheetLine,
    text: str,
    event_id: UUID,
    author: Person,
    at: datetime,
    recorded_at: datetime,
) -> LineNote:
    """Leave a note for whoever does this next; the newest of a line counts, an empty one takes it
    back. It is read once the sheet is signed.

    Sent twice with one event_id, it counts once. Raises SheetClosed, SheetRefused.
    """
    with transaction.atomic():
        sheet = lock_open_sheet(line.sheet)
        if earlier := LineNote.objects.filter(event_id=event_id).first():
            return earlier
        text = text.strip()
        refuse_long(LineNote, text=text)
        if not text and not _notes_in_force(LineNote.objects.filter(line=line)):
            raise SheetRefused(gettext_lazy("Write what the next one should know."))
        start_work(sheet, author=author, at=at)
        return LineNote.objects.create(
            line=line, text=text, event_id=event_id, author=author, at=at, recorded_at=recorded_at
        )


def pictures_for_paper(sheet: ServiceSheet) -> tuple[PaperPicture, ...]:
    """The printed picture of each make that the sheet works on, once, in the order of its lines.
    Two queries."""
    types = [
        type_id
        for (type_id,) in sheet.lines.order_by("order").values_list("component__type")
        if type_id
    ]
    chosen = Known.objects.in_force().filter(type__in=types, printed_since__isnull=False)
    rows = {row.type_id: row for row in chosen.select_related("type")}
    return tuple(
        PaperPicture(caption=f"{row.type}: {row.text}", image=image_of(row.digest), key=row.digest)
        for type_id in dict.fromkeys(types)
        if (row := rows.get(type_id)) is not None
    )


def image_of(key: str) -> bytes:
    """The JPEG of a picture by its hash; empty where it is not there. Any text may be asked for."""
    if not is_stored(key):
        return b""
    with default_storage.open(file_of(key)) as file:
        return bytes(file.read())


def _about(lines: Iterable[int]) -> dict[int, _About]:
    rows = SheetLine.objects.filter(pk__in=list(lines)).values_list(
        "pk", "component", "component__type", "version", "version__service", "sheet__rig"
    )
    return {pk: _About(*(each or 0 for each in rest)) for pk, *rest in rows}


def _included(versions: Iterable[int]) -> dict[int, list[int]]:
    """The smaller services that each version stands for."""
    found: dict[int, list[int]] = {}
    rows = ServiceVersion.includes.through.objects.filter(serviceversion__in=list(versions))
    for version, service in rows.order_by("service").values_list("serviceversion", "service"):
        found.setdefault(version, []).append(service)
    return found


def _written(lines: dict[int, SheetLine], about: dict[int, _About]) -> dict[int, list[Written]]:
    """For each line what was written on the last signed sheets: for the same work on the same
    component first, then for other work on it, then for the same work elsewhere."""
    past = _past_lines(lines, about)
    keys = {key for each in past.values() for key in each}
    said = _said(keys)
    found: dict[int, list[Written]] = {}
    for key, earlier in past.items():
        rows = [row for one in earlier for row in said.get(one, ())]
        found[key] = [
            Written(
                text=text,
                about=title,
                author=author,
                at=at,
                sheet=line.sheet.number,
                component=str(line.component or line.sheet.rig or ""),
                service=line.title,
                is_same=_is_same(line, about[key]),
            )
            for line, text, title, author, at in rows[:MOST_WRITTEN]
        ]
    return found


def _is_same(line: SheetLine, about: _About) -> bool:
    """Whether it was written of the same component; of the same rig, where neither has one."""
    if line.component_id or about.component:
        return line.component_id == about.component
    return (line.sheet.rig_id or 0) == about.rig


def _past_lines(lines: dict[int, SheetLine], about: dict[int, _About]) -> dict[int, list[int]]:
    """For each line the signed lines whose words are read, those nearest to it first."""
    components = {each.component for each in about.values() if each.component}
    own = {line.sheet_id for line in lines.values()}
    rows = (
        SheetLine.objects.filter(component__in=components, sheet__state=SIGNED)
        .exclude(sheet__in=own)
        .order_by("-sheet__signed_at", "-pk")
        .values_list("pk", "component", "version__service", "sheet")
    )
    of_component: dict[int, list[tuple[int, int, int]]] = {}
    for pk, component, service, sheet in rows:
        of_component.setdefault(component, []).append((pk, service or 0, sheet))
    elsewhere = _last_of_services(
        {each.service for each in about.values() if each.service}, not_on=own
    )
    found = {}
    for key, each in about.items():
        told = of_component.get(each.component, [])
        same = [pk for pk, service, _ in told if service == each.service][:1]
        sheets = list(dict.fromkeys(sheet for *_, sheet in told))[:LAST_SHEETS]
        near = [pk for pk, _, sheet in told if sheet in sheets]
        other = [elsewhere[each.service]] if each.service in elsewhere else []
        found[key] = list(dict.fromkeys([*same, *near, *other]))
    return found


def _last_of_services(services: Iterable[int], *, not_on: Iterable[int]) -> dict[int, int]:
    """The last signed line of each service, on whatever component. One query."""
    last = (
        SheetLine.objects.filter(version__service=OuterRef("pk"), sheet__state=SIGNED)
        .exclude(sheet__in=list(not_on))
        .order_by("-pk")
        .values("pk")[:1]
    )
    rows = Service.objects.filter(pk__in=list(services)).annotate(last=Subquery(last))
    return {pk: line for pk, line in rows.values_list("pk", "last") if line is not None}


_Said = tuple[SheetLine, str, str, str, datetime]


def _said(lines: Iterable[int]) -> dict[int, list[_Said]]:
    """By past line what was written there: notes for the next one first, then those at checks."""
    keys = list(lines)
    seen = ("line__sheet__rig", "line__component", "line__version__service", "line__finding")
    found: dict[int, list[_Said]] = {}
    left = _notes_in_force(LineNote.objects.filter(line__in=keys).select_related(*seen, "author"))
    for key, note in left.items():
        found[key] = [(note.line, note.text, "", note.author.name, note.at)]
    steps = (
        SheetStep.objects.filter(line__in=keys, section=SheetStep.Section.CHECK)
        .exclude(entry__note="")
        .filter(entry__isnull=False)
        .select_related(*seen, "entry__author", "entry__written_by")
        .order_by("order")
    )
    for step in steps:
        entry, line = step.entry, step.line
        assert entry is not None  # both were asked for
        assert line is not None
        found.setdefault(line.pk, []).append(
            (line, _words(entry), step.title, entry.hand.name, entry.at)
        )
    return found


def _words(entry: StepEntry) -> str:
    is_na = entry.answer == StepEntry.Answer.NOT_APPLICABLE
    return gettext("not applicable: {note}").format(note=entry.note) if is_na else entry.note


def _notes_in_force(notes: QuerySet[LineNote]) -> dict[int, LineNote]:
    """The newest note of each line, by its key, where that says something."""
    newest = {note.line_id: note for note in notes.order_by("at", "pk")}
    return {key: note for key, note in newest.items() if note.text}
