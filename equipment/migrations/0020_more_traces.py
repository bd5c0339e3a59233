import django.core.validators
import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0019_index_of_changers'),
    ]

    operations = [
        migrations.CreateModel(
            name='HistoricalDustEpisode',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('kind', models.CharField(choices=[('smoke', 'smoke'), ('pollen', 'pollen'), ('renovation', 'renovation'), ('other', 'other dust')], max_length=12, verbose_name='what it is')),
                ('first_day', models.DateField(verbose_name='from')),
                ('last_day', models.DateField(db_index=True, verbose_name='to')),
                ('factor', models.FloatField(validators=[django.core.validators.MinValueValidator(0.1), django.core.validators.MaxValueValidator(20.0)], verbose_name='times the usual dust')),
                ('place', models.CharField(blank=True, max_length=170, verbose_name='town or region')),
                ('recorded_on', models.DateField(verbose_name='recorded on')),
                ('ended_on', models.DateField(blank=True, null=True, verbose_name='over on')),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True, verbose_name='withdrawn at')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('closed_by', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('recorded_by', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.site')),
                ('station', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.station')),
            ],
            options={
                'verbose_name': 'historical dust episode',
                'verbose_name_plural': 'historical dust episodes',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalSiteRole',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('role', models.CharField(choices=[('occupant', 'occupant'), ('owner', 'owner'), ('bill_payer', 'bill payer'), ('filter_changer', 'filter changer')], max_length=16, verbose_name='role')),
                ('until', models.DateField(blank=True, null=True, verbose_name='moved out on')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('person', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.person')),
                ('site', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.site')),
            ],
            options={
                'verbose_name': 'historical role at a site',
                'verbose_name_plural': 'historical role at a sites',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='WeatherBefore',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField(verbose_name='day')),
                ('figure', models.CharField(choices=[('temperature', 'mean temperature in °C'), ('fine_dust', 'fine dust in µg/m³')], max_length=12, verbose_name='figure')),
                ('value', models.FloatField(verbose_name='value until then')),
                ('at', models.DateTimeField(db_index=True, verbose_name='written over at')),
                ('source', models.CharField(max_length=160, verbose_name='by')),
                ('station', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='weather_before', to='equipment.station')),
            ],
            options={
                'verbose_name': 'weather before',
                'verbose_name_plural': 'weather before',
                'indexes': [models.Index(fields=['station', 'day'], name='equipment_w_station_1b226b_idx')],
            },
        ),
        # What stands is where the histories begin, or the first change of each row would leave no trace of it.
        migrations.RunSQL(
            "INSERT INTO equipment_historicalsiterole (id, role, until, person_id, site_id, history_date, history_type, history_change_reason) SELECT id, role, until, person_id, site_id, CURRENT_TIMESTAMP, '~', 'as it stood when this history began' FROM equipment_siterole WHERE until IS NULL",
            migrations.RunSQL.noop,
        ),
        migrations.RunSQL(
            "INSERT INTO equipment_historicaldustepisode (id, kind, first_day, last_day, factor, place, recorded_on, ended_on, withdrawn_at, site_id, station_id, recorded_by_id, closed_by_id, history_date, history_type, history_change_reason) SELECT id, kind, first_day, last_day, factor, place, recorded_on, ended_on, withdrawn_at, site_id, station_id, recorded_by_id, closed_by_id, CURRENT_TIMESTAMP, '~', 'as it stood when this history began' FROM equipment_dustepisode",
            migrations.RunSQL.noop,
        ),
    ]
