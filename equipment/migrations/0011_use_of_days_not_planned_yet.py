"""Use of days that nobody has planned yet; until the rates are renewed, as on any other day."""

from django.db import migrations, models
from django.db.models import F, Q


def as_on_planned_days(apps, schema_editor):
    apps.get_model("equipment", "UsageRate").objects.update(open_shape=F("shape"), load=F("share"))


class Migration(migrations.Migration):
    dependencies = [("equipment", "0010_anchors_of_planned_months")]

    operations = [
        migrations.AddField("usagerate", "load", models.FloatField(default=1.0)),
        migrations.AddField("usagerate", "open_shape", models.FloatField(null=True)),
        migrations.RunPython(as_on_planned_days, migrations.RunPython.noop),
        migrations.RemoveConstraint("usagerate", "a_usage_rate_is_whole_or_unknown"),
        migrations.AddConstraint(
            "usagerate",
            models.CheckConstraint(
                condition=Q(load__gte=0), name="the_load_of_an_open_day_is_never_negative"
            ),
        ),
        migrations.AddConstraint(
            "usagerate",
            models.CheckConstraint(
                condition=Q(
                    shape__isnull=True,
                    open_shape__isnull=True,
                    day_shape__isnull=True,
                    alpha__isnull=True,
                    beta__isnull=True,
                )
                | Q(shape__gt=0, open_shape__gt=0, day_shape__gt=0, alpha__gt=2, beta__gt=0),
                name="a_usage_rate_is_whole_or_unknown",
            ),
        ),
    ]
