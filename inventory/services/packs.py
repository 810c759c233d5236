"""The packages that a part comes in, and the codes printed on them."""

from collections.abc import Mapping, Sequence

from django.db import IntegrityError, transaction

from inventory.models import Pack, Part, PartCode
from inventory.services.posting import StockRefused, refuse_long


class CodeTaken(StockRefused):
    """A code that another part bears."""


def set_packs(*, part: Part, packs: Mapping[str, int]) -> None:
    """Say which packs a part has, by name, in place of what was said before.

    packs: what each holds, > 0. [steps] Raises StockRefused.
    """
    for name, steps in packs.items():
        refuse_long(Pack, name=name)
        if not name or steps <= 0:
            raise StockRefused("A pack has a name and holds more than nothing.")
    with transaction.atomic():
        part = Part.objects.select_for_update().get(pk=part.pk)
        part.packs.all().delete()
        Pack.objects.bulk_create(
            Pack(part=part, name=name, quantity_steps=steps) for name, steps in packs.items()
        )


def set_codes(*, part: Part, codes: Sequence[str]) -> None:
    """Say which makers' codes name a part, in place of what was said before.

    Raises CodeTaken, StockRefused.
    """
    codes = list(dict.fromkeys(codes))
    for code in codes:
        refuse_long(PartCode, code=code)
    with transaction.atomic():
        part = Part.objects.select_for_update().get(pk=part.pk)
        taken = PartCode.objects.filter(code__in=codes).exclude(part=part).select_related("part")
        if other := taken.first():
            raise CodeTaken(f"{other.code} is the code of {other.part} already.")
        part.codes.all().delete()
        try:
            with transaction.atomic():
                PartCode.objects.bulk_create(PartCode(part=part, code=code) for code in codes)
        except IntegrityError as taken_meanwhile:
            raise CodeTaken("Another part was given one of these codes.") from taken_meanwhile
