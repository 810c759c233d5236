from django.apps import AppConfig
from django.core.checks import Tags, register
from django.db.models.signals import post_migrate


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from inventory import checks, guards

        for table in ("movement", "receipt", "receiptline", "lotextension"):
            guards.guard(f"inventory_{table}")
        post_migrate.connect(
            guards.install_after_migrate, sender=self, dispatch_uid="inventory.guards"
        )
        register(checks.guards_stand, Tags.database)
