from django.apps import AppConfig
from django.core.checks import Tags, register
from django.db.models.signals import post_migrate


class EquipmentConfig(AppConfig):
    name = "equipment"

    def ready(self) -> None:
        from equipment import overlaps

        post_migrate.connect(
            overlaps.install_after_migrate, sender=self, dispatch_uid="equipment.overlaps"
        )
        register(overlaps.guards_stand, Tags.database)
