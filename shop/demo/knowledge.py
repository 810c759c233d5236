"""What the people of the demo have written down, drawn and left for each other."""

from collections.abc import Sequence
from typing import Final

from equipment.models import ComponentType, Known, Service
from equipment.pictures import shrink
from equipment.services.knowing import keep_known, print_on_sheets
from equipment.services.photos import file_of, is_stored, store_picture
from shop.demo.schematics import GUN, PUMP, Piece, drawn
from shop.demo.story import Story

#: By make: the days ago, what was written, where that stands.
OF_MAKES: Final = {
    "gun": (
        (-210, "Lay the seals out in the order of the drawing before the first screw comes out.",
         "", ""),
    ),
    "pump": (
        (-160, "Packing nut: torque per the maker’s sheet, and again after the first hour "
         "of spraying where the sheet asks for it.", "Maker’s sheet of the pump", "page 6"),
    ),
}  # fmt: skip
#: By kind and name of a service.
OF_SERVICES: Final = {
    ("gun", "full rebuild"): (
        (-120, "The long screw is on the A side.",
         "", ""),
    ),
}  # fmt: skip
PICTURES: Final = (
    ("gun", GUN, "Exploded view, numbered from the tip"),
    ("pump", PUMP, "Fluid section, from the rod down"),
)


def tell(story: Story) -> None:
    """Notes and drawings; one note was replaced by a newer one."""
    for kind, pieces, words in PICTURES:
        for about in ComponentType.objects.filter(kind__name=kind).order_by("pk"):
            _picture(story, about, pieces, words)
    for kind, notes in OF_MAKES.items():
        for about in ComponentType.objects.filter(kind__name=kind).order_by("pk"):
            for offset, text, document, page in notes:
                _note(story, about, offset, text, document, page)
    for (kind, name), notes in OF_SERVICES.items():
        for service in Service.objects.filter(kind__name=kind, name=name).order_by("pk"):
            older = _note(story, service, -300, "The long screw is on the B side.")
            for offset, text, document, page in notes:
                _note(story, service, offset, text, document, page, replaces=older)


def _picture(story: Story, about: ComponentType, pieces: Sequence[Piece], words: str) -> None:
    picture = shrink(drawn(pieces))
    if not is_stored(picture.digest):
        store_picture(picture)
        story.files += [file_of(picture.digest), file_of(picture.digest, is_small=True)]
    at = story.at(-200, 16)
    made = keep_known(
        about=about,
        kind=Known.Kind.PICTURE,
        text=words,
        document="our own drawing",
        digest=picture.digest,
        author=story.manager,
        at=at,
        request_id=story.new_id(),
    )
    print_on_sheets(known=made, is_printed=True, author=story.manager, at=at)


def _note(
    story: Story,
    about: ComponentType | Service,
    offset: int,
    text: str,
    document: str = "",
    page: str = "",
    *,
    replaces: Known | None = None,
) -> Known:
    return keep_known(
        about=about,
        kind=Known.Kind.NOTE,
        text=text,
        document=document,
        page=page,
        replaces=replaces,
        author=story.technician,
        at=story.at(max(offset, story.first_day), 16, 30),
        request_id=story.new_id(),
    )
