from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"

    def ready(self) -> None:
        from inventory.guards import guard
        from shop import checks  # noqa: F401  (registers them)

        # What somebody signed or entered is never changed, not even by a person at the database.
        guard("equipment_renewal")
        guard("equipment_reading", allow_columns=("total", "is_at_least", "is_in_force"))
        guard("equipment_drumlevel", allow_columns=("is_in_force",))
        guard("equipment_facephoto")
        guard("equipment_measurement")
        guard("equipment_exchange")
        guard("shop_signedcopy")
        guard("shop_stepentry")
        guard("shop_partentry")
        guard("shop_readingentry", allow_columns=("is_in_force",))
