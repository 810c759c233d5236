"""How the shop stands today: sheets in every state, found work, kits short, rounds of the week."""

from datetime import timedelta

from equipment.models import Due, Round, RoundAnswer
from equipment.services import NewAnswer, items_for_round, open_finding, record_round
from inventory.services import count as count_stock
from shop.demo import buying, counts, sheets, shelf
from shop.demo.incidents import fitted
from shop.demo.seasons import Season
from shop.demo.story import Story
from shop.isolation import Stage
from shop.models import ServiceSheet, SheetStep, StepEntry
from shop.services.advising import follow_again
from shop.services.clocking import start_time, stop_time
from shop.services.drafting import hand_out
from shop.services.handing_over import hand_over
from shop.services.waiting import wait_for_parts

ROUND_DAYS = 9
#: (rig, day): what the round found not right, by the item's code.
WRONG = {
    (1, -1): ("SI40", "scuff cover torn at the second joint"),
    (7, -2): ("SI53", "exhaust bracket loose"),
    (9, -4): ("SI20", "B screen half blocked, cleaned, comes back"),
}
#: What a count found lately: fewer than the ledger knew.
COUNTED = {"HO-410": 0, "PK-220": 0, "GU-103": 1}


def tell(story: Story, seasons: dict[int, Season]) -> None:
    """Bring the shop to this morning."""
    _rounds(story, seasons)
    _counts(story)
    counts.tell(story)
    buying.send_old_parts_back(story)
    _by_advice(story)
    _hold_plover(story)
    _under_way(story)
    _to_sign_off(story)
    _handed_out(story)
    _drafted(story)


def first_due(story: Story, number: int, count: int) -> list[Due]:
    """The services of a rig that fall due first."""
    rows = Due.objects.for_due_list().filter(rig=story.rigs[number])
    return list(rows.order_by("due_date", "pk")[:count])


def _rounds(story: Story, seasons: dict[int, Season]) -> None:
    for offset in range(-ROUND_DAYS, 0):
        for number, season in seasons.items():
            if season.job_on(offset) and (not story.is_sunday(offset) or (number, offset) in WRONG):
                _round(story, number, offset)


def _round(story: Story, number: int, offset: int) -> Round:
    code, said = WRONG.get((number, offset), ("", ""))
    right, wrong = RoundAnswer.Answer.RIGHT, RoundAnswer.Answer.WRONG
    rig, day = story.rigs[number], story.day(offset)
    return record_round(
        rig=rig,
        day=day,
        answers=[
            NewAnswer(item, wrong, said) if item.code == code else NewAnswer(item, right)
            for item in items_for_round(rig=rig, day=day)
        ],
        author=story.technician,
        at=story.at(offset, 6, 30 + number),
        request_id=story.new_id(),
    )


def _counts(story: Story) -> None:
    for number, pieces in COUNTED.items():
        count_stock(
            part=story.parts[number],
            location=story.places[shelf.PLANS[number].place],
            counted_steps=pieces,
            author=story.technician,
            at=story.at(-3, 15, 30),
            request_id=story.new_id(),
            reason="shelf counted",
        )


def _by_advice(story: Story) -> None:
    """Lately the manager let the book reckon when to buy, but for what she knows better."""
    for number, part in story.parts.items():
        if number not in buying.BY_HAND and number not in buying.IN_BULK:
            follow_again(part=part, author=story.manager, at=story.at(-5, 8))


def _hold_plover(story: Story) -> None:
    """Rig 05 must not leave: its compressor stands, and the element for it is not here."""
    rig = story.rigs[5]
    compressor = fitted(rig, "compressor")
    finding = open_finding(
        rig=rig,
        component=compressor,
        text="Separator blocked: 14 psi across it, no air at the gun",
        is_grave=True,
        author=story.technician,
        at=story.at(-5, 10, 15),
        request_id=story.new_id(),
    )
    dues = Due.objects.for_due_list().filter(
        component=compressor, version__service__name="separator element"
    )
    sheet = sheets.draft(
        story, -4, rig=rig, dues=list(dues), findings=[finding], note="down since it came in"
    )
    hand_out(sheet=sheet, technician=story.technician, author=story.manager, at=story.at(-4, 7, 5))
    short = sheet.parts.filter(short_steps__gt=0).select_related("part")
    wait_for_parts(
        sheet=ServiceSheet.objects.get(pk=sheet.pk),
        missing="the oil that goes in with it",
        parts=[row.part for row in short],
        event_id=story.new_id(),
        author=story.technician,
        at=story.at(-4, 9, 20),
        recorded_at=story.at(-4, 9, 20),
    )


def _under_way(story: Story) -> None:
    """Rig 04 is in the shop: begun yesterday, one value out of limit, some checks to go."""
    sheet = sheets.draft(
        story,
        -1,
        rig=story.rigs[4],
        dues=first_due(story, 4, 8),
        note="before the three weeks away",
    )
    work = sheets.give(story, sheet, -1, story.technician)
    sheets.prepare(work)
    checks = [each for each in sheets.checks_at(work, Stage.STILL) if not each.needs_electrician]
    measured = next(
        (each for each in checks if each.kind == SheetStep.Kind.VALUE and each.high is not None),
        None,
    )
    if measured is not None:
        sheets.answer(
            work,
            measured,
            StepEntry.Answer.VALUE,
            value=sheets.past_limit(measured),
            remedy=StepEntry.Remedy.FOUND_WORK,
            finding_text=f"{measured.title} is out of limit; look at it again",
        )
    for step in [each for each in checks if each != measured][:5]:
        sheets.answer_well(work, step)
    for does, who, at in (
        (start_time, story.technician, story.at(-1, 7, 30)),
        (start_time, story.electrician, story.at(-1, 8, 0)),
        (stop_time, story.electrician, story.at(-1, 8, 45)),
        (stop_time, story.technician, story.at(-1, 11, 10)),
    ):
        does(sheet=sheet, event_id=story.new_id(), author=who, at=at, recorded_at=at)
    hand_over(
        sheet=sheet,
        words="covers are off; go on where the checks are open",
        to=story.technician,
        event_id=story.new_id(),
        author=story.electrician,
        at=story.at(-1, 8, 45),
        recorded_at=story.at(-1, 8, 45),
    )


def _to_sign_off(story: Story) -> None:
    """Rig 11 stands in the yard: everything entered, waiting for a signature."""
    sheet = sheets.draft(story, -1, rig=story.rigs[11], dues=first_due(story, 11, 14))
    work = sheets.give(story, sheet, -1, story.electrician)
    work.clock += timedelta(hours=4)
    sheets.prepare(work)
    sheets.check(work)
    sheets.use_parts(work)


def _handed_out(story: Story) -> None:
    """Rig 02 came in last night and is to be done this morning."""
    sheet = sheets.draft(story, 0, rig=story.rigs[2], dues=first_due(story, 2, 7), drafted_on=-1)
    hand_out(
        sheet=sheet, technician=story.technician, author=story.manager, at=story.at(-1, 16, 50)
    )


def _drafted(story: Story) -> None:
    """Rig 07 comes in after its job; and a spare gun waits on the bench."""
    packing = (
        Due.objects.for_due_list()
        .filter(rig=story.rigs[7], position__side="B", version__service__name="packing and seals")
        .order_by("pk")
    )
    picked = {due.pk: due for due in (*packing, *first_due(story, 7, 5))}
    sheets.draft(story, 4, rig=story.rigs[7], dues=list(picked.values()), drafted_on=-1)
    gun = (
        Due.objects.filter(component=story.components["GUN-09"])
        .select_related("version__service", "component", "position")
        .order_by("pk")
    )
    sheets.draft(
        story,
        2,
        component=story.components["GUN-09"],
        dues=list(gun.filter(version__service__name__in=("mix chamber", "side seals"))),
        drafted_on=-1,
        note="spare gun, for the shelf",
    )
