"""What joins the rigs to the stock: neither knows the other, the shop knows both."""

from django.db import models
from django.db.models import Q


class PartsNeed(models.Model):
    """A service needs this much of this part each time it is done."""

    service = models.ForeignKey("equipment.Service", models.CASCADE, related_name="parts_needs")
    part = models.ForeignKey("inventory.Part", models.PROTECT, related_name="needs")
    quantity_steps = models.PositiveBigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["service", "part"], name="a_service_names_a_part_once"),
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0), name="a_need_is_more_than_nothing"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.service}: {self.part}"


class RigDrawer(models.Model):
    """The drawer of parts that rides on a rig."""

    rig = models.OneToOneField("equipment.Rig", models.CASCADE, related_name="drawer")
    location = models.OneToOneField("inventory.Location", models.PROTECT, related_name="rig_drawer")

    def __str__(self) -> str:
        return f"{self.rig}: {self.location}"
