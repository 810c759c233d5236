"""A second look: a manager who did not sign a sheet says whether what was done is right."""

from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction

from equipment.models import Finding
from equipment.services import open_finding
from shop.models import Person, Role, SecondLook, ServiceSheet, SheetLine
from shop.services.refusals import SheetRefused, refuse_long
from shop.services.sheet_parts import SOURCE

Outcome = SecondLook.Outcome


class LookedAlready(SheetRefused):
    """Somebody looked first; nothing of the second look was written."""

    def __init__(self, look: SecondLook) -> None:
        super().__init__(
            f"{look.author.name} has looked at sheet {look.sheet} already:"
            f" {look.get_outcome_display()}."
        )


class NotYours(SheetRefused):
    """Whose work it is may not be who looks at it again."""


def look_again(
    *,
    sheet: ServiceSheet,
    outcome: str,
    author: Person,
    at: datetime,
    request_id: UUID,
    text: str = "",
    line: SheetLine | None = None,
    is_grave: bool = False,
    opens_work: bool = True,
) -> SecondLook:
    """Say that a signed sheet is right, or what is not; the mark on it goes.

    What is not right opens found work on the component of `line` (None: on the rig), which holds
    the rig when `is_grave`; with opens_work false it opens none, where a figure only is wrong and a
    correction follows. Sent twice with one request_id, it counts once. Raises LookedAlready,
    NotYours; SheetRefused where no second look is wanted or nothing is said.
    """
    text = text.strip()
    refuse_long(SecondLook, text=text)
    with transaction.atomic():
        sheet = (
            ServiceSheet.objects.select_for_update(of=("self",))
            .select_related("rig", "component", "charged_rig")
            .get(pk=sheet.pk)
        )
        if earlier := SecondLook.objects.filter(request_id=request_id).first():
            return earlier
        if look := SecondLook.objects.select_related("author", "sheet").filter(sheet=sheet).first():
            raise LookedAlready(look)
        if not sheet.is_second_look_wanted:
            raise SheetRefused(f"No second look at sheet {sheet} is wanted.")
        refuse_own(sheet, author)
        if outcome not in Outcome.values:
            raise SheetRefused("Say whether it is right.")
        finding = None
        if outcome == Outcome.NOT_RIGHT and not text:
            raise SheetRefused("Say what is not right.")
        if outcome == Outcome.NOT_RIGHT and opens_work:
            finding = _open_finding(sheet, line, text, is_grave, author, at, request_id)
        look = SecondLook.objects.create(
            sheet=sheet,
            outcome=outcome,
            text=text,
            finding=finding,
            author=author,
            at=at,
            request_id=request_id,
        )
        sheet.is_second_look_wanted = False
        sheet.save(update_fields=["is_second_look_wanted"])
        return look


def refuse_own(sheet: ServiceSheet, author: Person) -> None:
    """Raise NotYours for who is no manager, and for who did or signed the work."""
    if author.role != Role.MANAGER:
        raise NotYours("A second look is a manager's.")
    if author.pk == (sheet.written_by_id or sheet.signed_by_id):
        raise NotYours("You signed this sheet yourself: another manager has to look at it.")


def _open_finding(
    sheet: ServiceSheet,
    line: SheetLine | None,
    text: str,
    is_grave: bool,
    author: Person,
    at: datetime,
    request_id: UUID,
) -> Finding:
    return open_finding(
        rig=sheet.rig or sheet.charged_rig,
        component=line.component if line else sheet.component,
        text=text,
        is_grave=is_grave,
        source_kind=SOURCE,
        source_number=sheet.number,
        author=author,
        at=at,
        request_id=uuid5(request_id, "found work"),
    )
