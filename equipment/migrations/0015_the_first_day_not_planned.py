import datetime

from django.db import migrations, models


class Migration(migrations.Migration):
    """Rates learnt before this are learnt again at the next turn of the day; until then days are
    open after a rig's last job, as they were."""

    dependencies = [("equipment", "0014_due_list_orders_by_kind_and_skill")]

    operations = [
        migrations.AddField(
            model_name="usagerate",
            name="open_from",
            field=models.DateField(default=datetime.date(1, 1, 1)),
            preserve_default=False,
        )
    ]
