import datetime
import django.db.models.deletion
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0008_readings_from_paper'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Measurement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=200)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('value', models.DecimalField(decimal_places=4, max_digits=12)),
                ('at', models.DateTimeField()),
                ('source_kind', models.CharField(max_length=20)),
                ('source_number', models.PositiveBigIntegerField(default=0)),
                ('recorded_at', models.DateTimeField()),
                ('request_id', models.UUIDField(unique=True)),
            ],
        ),
        migrations.CreateModel(
            name='Postponement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('until', models.DateField(verbose_name='put off to')),
                ('reason', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('request_id', models.UUIDField(unique=True)),
                ('taken_off_at', models.DateTimeField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name='Season',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(error_messages={'unique': 'There is a season of that name.'}, max_length=40, unique=True)),
                ('month', models.PositiveSmallIntegerField()),
                ('day', models.PositiveSmallIntegerField()),
            ],
        ),
        migrations.RemoveConstraint(
            model_name='trigger',
            name='one_trigger_per_measure',
        ),
        migrations.AddField(
            model_name='counter',
            name='moved_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='due',
            name='bigger_date',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='due',
            name='due_10',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='due',
            name='due_90',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='due',
            name='early',
            field=models.DecimalField(decimal_places=4, default=Decimal('0'), max_digits=5),
        ),
        migrations.AddField(
            model_name='due',
            name='kit_cents',
            field=models.PositiveBigIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='due',
            name='odds_due_most_permille',
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='due',
            name='odds_due_permille',
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='due',
            name='odds_late_permille',
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='due',
            name='postponed_to',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='due',
            name='stay_on',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='due',
            name='window_from',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='dueclock',
            name='because',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='renewal',
            name='within',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='inside', to='equipment.renewal'),
        ),
        migrations.AddField(
            model_name='rig',
            name='stay_on',
            field=models.DateField(default=datetime.date(9999, 12, 31)),
        ),
        migrations.AddField(
            model_name='service',
            name='copied_from',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='copies', to='equipment.service'),
        ),
        migrations.AddField(
            model_name='service',
            name='kit_cents',
            field=models.PositiveBigIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='service',
            name='library_code',
            field=models.CharField(blank=True, max_length=10),
        ),
        migrations.AddField(
            model_name='service',
            name='only_rigs',
            field=models.ManyToManyField(blank=True, related_name='own_services', to='equipment.rig'),
        ),
        migrations.AddField(
            model_name='serviceversion',
            name='early_percent',
            field=models.DecimalField(decimal_places=2, default=Decimal('0'), max_digits=5),
        ),
        migrations.AddField(
            model_name='serviceversion',
            name='includes',
            field=models.ManyToManyField(blank=True, related_name='included_in', to='equipment.service'),
        ),
        migrations.AddField(
            model_name='serviceversion',
            name='rule',
            field=models.CharField(choices=[('first', 'whichever falls first'), ('all', 'all of them')], default='first', max_length=5),
        ),
        migrations.AddField(
            model_name='trigger',
            name='after',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='triggers_after', to='equipment.service'),
        ),
        migrations.AddField(
            model_name='trigger',
            name='first_at',
            field=models.DecimalField(blank=True, decimal_places=3, max_digits=12, null=True),
        ),
        migrations.AddField(
            model_name='trigger',
            name='high',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=12, null=True),
        ),
        migrations.AddField(
            model_name='trigger',
            name='low',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=12, null=True),
        ),
        migrations.AddField(
            model_name='trigger',
            name='watched',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AlterField(
            model_name='due',
            name='measure',
            field=models.CharField(choices=[('hours', 'hours'), ('strokes', 'strokes'), ('gallons', 'gallons'), ('days', 'days'), ('months', 'months'), ('season', 'before a day of the year'), ('idle', 'days without use'), ('after', 'after another service'), ('job', 'before the rig leaves for a job'), ('value', 'a measured value')], max_length=8),
        ),
        migrations.AlterField(
            model_name='dueclock',
            name='measure',
            field=models.CharField(choices=[('hours', 'hours'), ('strokes', 'strokes'), ('gallons', 'gallons'), ('days', 'days'), ('months', 'months'), ('season', 'before a day of the year'), ('idle', 'days without use'), ('after', 'after another service'), ('job', 'before the rig leaves for a job'), ('value', 'a measured value')], max_length=8),
        ),
        migrations.AlterField(
            model_name='trigger',
            name='measure',
            field=models.CharField(choices=[('hours', 'hours'), ('strokes', 'strokes'), ('gallons', 'gallons'), ('days', 'days'), ('months', 'months'), ('season', 'before a day of the year'), ('idle', 'days without use'), ('after', 'after another service'), ('job', 'before the rig leaves for a job'), ('value', 'a measured value')], max_length=8),
        ),
        migrations.AddIndex(
            model_name='due',
            index=models.Index(fields=['is_listed', '-odds_due_permille', 'id'], name='equipment_d_is_list_6251c0_idx'),
        ),
        migrations.AddIndex(
            model_name='due',
            index=models.Index(fields=['is_listed', '-kit_cents', 'id'], name='equipment_d_is_list_3e676d_idx'),
        ),
        migrations.AddIndex(
            model_name='due',
            index=models.Index(fields=['stay_on'], name='equipment_d_stay_on_b2ef24_idx'),
        ),
        migrations.AddConstraint(
            model_name='serviceversion',
            constraint=models.CheckConstraint(condition=models.Q(('early_percent__gte', 0), ('early_percent__lt', 100)), name='early_tolerance_below_the_interval', violation_error_message='It may be done early by 0 to 99 per cent.'),
        ),
        migrations.AddField(
            model_name='measurement',
            name='author',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='measurement',
            name='component',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='measurements', to='equipment.component'),
        ),
        migrations.AddField(
            model_name='postponement',
            name='author',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='postponement',
            name='component',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='postponements', to='equipment.component'),
        ),
        migrations.AddField(
            model_name='postponement',
            name='service',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='postponements', to='equipment.service'),
        ),
        migrations.AddField(
            model_name='postponement',
            name='taken_off_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='season',
            constraint=models.CheckConstraint(condition=models.Q(('day__gte', 1), ('day__lte', 31), ('month__gte', 1), ('month__lte', 12)), name='a_season_is_a_day_of_the_year', violation_error_message='That is no day of the year.'),
        ),
        migrations.AddField(
            model_name='trigger',
            name='season',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='triggers', to='equipment.season'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.UniqueConstraint(condition=models.Q(('after__isnull', True)), fields=('version', 'measure', 'watched'), name='one_trigger_per_measure'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.UniqueConstraint(condition=models.Q(('after__isnull', False)), fields=('version', 'after'), name='one_trigger_after_a_service'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.CheckConstraint(condition=models.Q(('first_at__isnull', True), models.Q(('first_at__gt', 0), ('measure__in', ['hours', 'strokes', 'gallons'])), _connector='OR'), name='a_first_life_is_of_use', violation_error_message='A first time is at a life above zero, in a unit of use.'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('measure', 'season'), ('season__isnull', False)), models.Q(models.Q(('measure', 'season'), _negated=True), ('season__isnull', True)), _connector='OR'), name='a_season_has_its_day'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('after__isnull', False), ('measure', 'after')), models.Q(models.Q(('measure', 'after'), _negated=True), ('after__isnull', True)), _connector='OR'), name='after_names_a_service'),
        ),
        migrations.AddConstraint(
            model_name='trigger',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('measure', 'value'), models.Q(('watched', ''), _negated=True), models.Q(('low__isnull', False), ('high__isnull', False), _connector='OR')), models.Q(models.Q(('measure', 'value'), _negated=True), ('high__isnull', True), ('low__isnull', True), ('watched', '')), _connector='OR'), name='a_measured_value_has_a_name_and_a_limit'),
        ),
        migrations.AddIndex(
            model_name='measurement',
            index=models.Index(fields=['component', 'name', 'at'], name='equipment_m_compone_2277b1_idx'),
        ),
        migrations.AddIndex(
            model_name='postponement',
            index=models.Index(fields=['component', 'service'], name='equipment_p_compone_89d30a_idx'),
        ),
        migrations.AddConstraint(
            model_name='postponement',
            constraint=models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='postponed_for_a_reason', violation_error_message='Say why it is put off.'),
        ),
        migrations.AddConstraint(
            model_name='postponement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('taken_off_at__isnull', True), ('taken_off_by__isnull', True)), models.Q(('taken_off_at__isnull', False), ('taken_off_by__isnull', False)), _connector='OR'), name='a_postponement_taken_off_says_who_and_when'),
        ),
    ]
