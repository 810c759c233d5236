"""What was counted on the shelf and in the drawers, and the kit that was found robbed."""

from collections.abc import Mapping
from typing import Final

from inventory.models import Balance, Count, Location, Part
from inventory.services import counting
from inventory.services.robbed import rob_kit
from shop.demo import shelf
from shop.demo.story import Story
from shop.models import Person, RigDrawer, ServiceSheet

#: (day, place): parts of which another number lay there than the books said.
CYCLE: Final[dict[tuple[int, str], dict[str, int]]] = {
    (-41, "C-02"): {},
    (-27, "E-04"): {"HY-304": -1},
    (-12, "F-05"): {},
    #: Not yet approved.
    (-1, "D-02"): {"PU-205": -1},
}
#: Drawers checked lately: rig → day. The others are asked for.
DRAWERS: Final = {1: -20, 5: -33, 9: -38}
ROBBED_ON: Final = -6
ROBBED: Final = ("GK-100", {"GU-101": 1, "GU-103": 1})


def tell(story: Story) -> None:
    for (offset, place), differences in CYCLE.items():
        _counted(story, offset, story.places[place], differences, approve=offset < -1)
    for number, offset in DRAWERS.items():
        drawer = RigDrawer.objects.get(rig=story.rigs[number]).location
        _checked(story, offset, drawer)
    _found_robbed(story)


def _counted(
    story: Story, offset: int, place: Location, differences: Mapping[str, int], *, approve: bool
) -> None:
    """The technician walks along one place, blind; the manager looks at what differs."""
    who = story.technician
    count = _begun(story, offset, place, Count.Kind.CYCLE, who)
    books = counting.books_of(count)
    for part in Part.objects.in_bulk(list(books)).values():
        units = differences.get(part.number, 0)
        counting.enter_counted(
            count=count,
            part=part,
            counted_steps=max(0, books[part.pk] + units * part.steps_per_unit),
            author=who,
            at=story.at(offset, 14, 10),
            event_id=story.new_id(),
        )
    counting.finish_count(count=count, none_of=(), author=who, at=story.at(offset, 14, 20))
    if approve:
        counting.approve_count(count=count, author=story.manager, at=story.at(offset, 16))


def _checked(story: Story, offset: int, drawer: Location) -> None:
    """Everything is in the drawer as the books have it."""
    who = story.technician
    count = _begun(story, offset, drawer, Count.Kind.DRAWER, who)
    there = Balance.objects.there().filter(location=drawer).values("part")
    parts = list(Part.objects.filter(pk__in=there).order_by("number"))
    counting.enter_as_booked(count=count, parts=parts, author=who, at=story.at(offset, 14, 10))
    counting.finish_count(count=count, none_of=(), author=who, at=story.at(offset, 14, 11))
    counting.approve_count(count=count, author=story.manager, at=story.at(offset, 16))


def _begun(story: Story, offset: int, place: Location, kind: str, who: Person) -> Count:
    return counting.start_count(
        location=place,
        kind=kind,
        author=who,
        at=story.at(offset, 14),
        request_id=story.new_id(),
    )


def _found_robbed(story: Story) -> None:
    """Somebody in a hurry took a seal and a chamber out of a kit for the last sheet."""
    number, missing = ROBBED
    sheet = ServiceSheet.objects.signed().latest("number")
    rob_kit(
        kit=story.parts[number],
        location=story.places[shelf.PLANS[number].place],
        missing={story.parts[part]: pieces for part, pieces in missing.items()},
        author=story.technician,
        at=story.at(ROBBED_ON, 15, 20),
        request_id=story.new_id(),
        reason="seal was loose in the bag",
        taken_for=("sheet", sheet.number),
    )
