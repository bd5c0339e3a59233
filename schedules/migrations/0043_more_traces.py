import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0020_more_traces'),
        ('schedules', '0042_results_of_the_day'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='HistoricalHomeHours',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('weekdays', models.JSONField(blank=True, default=list, verbose_name='days')),
                ('not_before', models.TimeField(blank=True, null=True, verbose_name='not before')),
                ('not_after', models.TimeField(blank=True, null=True, verbose_name='not after')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.site')),
            ],
            options={
                'verbose_name': "historical a home's hours",
                'verbose_name_plural': "historical a home's hourss",
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalHomeHours_not_by',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('m2m_history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, to='schedules.historicalhomehours')),
                ('homehours', models.ForeignKey(blank=True, db_constraint=False, db_tablespace='', null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='schedules.homehours')),
                ('technician', models.ForeignKey(blank=True, db_constraint=False, db_tablespace='', null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='schedules.technician')),
            ],
            options={
                'verbose_name': 'HistoricalHomeHours_not_by',
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='HistoricalVisitJob',
            fields=[
                ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                ('done', models.BooleanField(blank=True, null=True, verbose_name='done')),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('slot', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='equipment.filterslot')),
                ('task', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='schedules.maintenancetask')),
                ('visit', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='schedules.visit')),
            ],
            options={
                'verbose_name': 'historical visit job',
                'verbose_name_plural': 'historical visit jobs',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        # What stands is where the histories begin, or the first change of each row would leave no trace of it.
        migrations.RunSQL(
            "INSERT INTO schedules_historicalhomehours (id, weekdays, not_before, not_after, site_id, history_date, history_type, history_change_reason) SELECT id, weekdays, not_before, not_after, site_id, CURRENT_TIMESTAMP, '~', 'as it stood when this history began' FROM schedules_homehours",
            migrations.RunSQL.noop,
        ),
        migrations.RunSQL(
            'INSERT INTO schedules_historicalhomehours_not_by (id, history_id, homehours_id, technician_id) SELECT one.id, told.history_id, one.homehours_id, one.technician_id FROM schedules_homehours_not_by one JOIN schedules_historicalhomehours told ON told.id = one.homehours_id',
            migrations.RunSQL.noop,
        ),
        migrations.RunSQL(
            "INSERT INTO schedules_historicalvisitjob (id, done, slot_id, task_id, visit_id, history_date, history_type, history_change_reason) SELECT id, done, slot_id, task_id, visit_id, CURRENT_TIMESTAMP, '~', 'as it stood when this history began' FROM schedules_visitjob WHERE done IS NULL",
            migrations.RunSQL.noop,
        ),
    ]
