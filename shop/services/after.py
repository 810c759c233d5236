"""What stands on the page of a signed sheet beside what was signed."""

from dataclasses import dataclass

from shop.models import Correction, SecondLook, ServiceSheet


@dataclass(frozen=True, slots=True)
class AfterSigning:
    """What came after the signature.

    look: the second look, where there was one. by: the sheets that correct it, in order.
    said: what this sheet says of the one it corrects.
    """

    look: SecondLook | None
    by: tuple[ServiceSheet, ...]
    said: tuple[Correction, ...]


def after_signing(sheet: ServiceSheet) -> AfterSigning | None:
    """None for a sheet that is not signed."""
    if sheet.state != ServiceSheet.State.SIGNED:
        return None
    look = SecondLook.objects.select_related("author", "finding").filter(sheet=sheet).first()
    by = sheet.corrections.select_related("signed_by").order_by("number")
    said = sheet.corrected.order_by("pk") if sheet.corrects_id else ()
    return AfterSigning(look=look, by=tuple(by), said=tuple(said))
