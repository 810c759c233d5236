from typing import Any

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"

    def ready(self) -> None:
        from django.db.models.signals import post_save

        from inventory.guards import guard
        from inventory.models import Part
        from shop import checks  # noqa: F401  (registers them)

        # The stock knows no services: whoever changes a part is not to know who prices by it.
        post_save.connect(_part_saved, sender=Part, dispatch_uid="shop_part_saved")

        # What somebody signed or entered is never changed, not even by a person at the database.
        guard("equipment_renewal")
        guard("equipment_reading", allow_columns=("total", "is_at_least", "is_in_force"))
        guard("equipment_drumlevel", allow_columns=("is_in_force",))
        guard("equipment_facephoto")
        guard("equipment_findingphoto")
        guard(
            "equipment_known",
            allow_columns=("printed_by_id", "printed_since"),
            once=("taken_off_by_id", "taken_off_at", "taken_off_because"),
        )
        guard("equipment_measurement")
        guard("equipment_exchange")
        guard("equipment_postponement", once=("taken_off_by_id", "taken_off_at"))
        guard("equipment_broughtforward", once=("taken_off_by_id", "taken_off_at"))
        guard("equipment_sideanswer")
        guard("shop_signedcopy")
        guard("shop_secondlook")
        guard("shop_correction")
        guard("shop_stepentry")
        guard("shop_partentry")
        guard("shop_readingentry", allow_columns=("is_in_force",))
        guard("shop_linenote")
        guard("shop_timeentry")
        guard("shop_handover")
        guard("shop_waitentry")
        guard("shop_missingpart")
        guard("shop_isolationpoint", once=("ended_by_id", "ended_at"))
        guard("shop_textreading", once=("taken_back_by_id", "taken_back_at"))
        guard("shop_arrival")
        guard("shop_unsettled")
        guard("shop_settlement")


def _part_saved(instance: Any, created: bool, raw: bool = False, **_: Any) -> None:
    """A part new to the shop is needed by nothing yet; a fixture brings its figures along."""
    from shop.services.needs import part_changed

    if not created and not raw:
        part_changed(instance)
