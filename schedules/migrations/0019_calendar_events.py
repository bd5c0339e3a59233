import django.db.models.deletion
from django.db import migrations, models
from django.utils import timezone


def leave_one_open(apps, schema_editor):
    """Where two requests at once made two open addresses of one owner, the pages show the older one."""
    seen, doubled = set(), []
    rows = apps.get_model('schedules', 'Feed').objects.filter(withdrawn_at=None).order_by('pk')
    for pk, *owner in rows.values_list('pk', 'site', 'technician'):
        if tuple(owner) in seen:
            doubled.append(pk)
        seen.add(tuple(owner))
    rows.filter(pk__in=doubled).update(withdrawn_at=timezone.now())


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0010_delivery'),
        ('schedules', '0018_observed_scatter'),
    ]

    operations = [
        migrations.CreateModel(
            name='CalendarEvent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.CharField(max_length=120, unique=True)),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('timed_sequence', models.PositiveIntegerField(default=0)),
                ('content_hash', models.CharField(max_length=64)),
                ('text', models.TextField()),
                ('first_at', models.DateTimeField()),
                ('last_at', models.DateTimeField()),
                ('changed_at', models.DateTimeField()),
                ('cancelled_at', models.DateTimeField(blank=True, null=True)),
                ('keep_until', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'verbose_name': 'calendar event',
            },
        ),
        migrations.CreateModel(
            name='Reply',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('message_id', models.CharField(max_length=255)),
                ('sender', models.CharField(max_length=254, verbose_name='from')),
                ('known', models.BooleanField(default=False)),
                ('said', models.CharField(choices=[('ACCEPTED', 'accepted'), ('TENTATIVE', 'perhaps'), ('DECLINED', 'declined')], max_length=10, verbose_name='answer')),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('at', models.DateTimeField(verbose_name='at')),
                ('read_at', models.DateTimeField()),
            ],
            options={
                'verbose_name': 'reply to an invitation',
                'verbose_name_plural': 'replies to invitations',
                'ordering': ['sequence', 'at', 'pk'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='feed',
            name='feed_of_a_site_or_a_technician',
        ),
        migrations.AddField(
            model_name='feed',
            name='body',
            field=models.TextField(blank=True),
        ),
        migrations.AddField(
            model_name='feed',
            name='changed_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='feed',
            name='checked_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='feed',
            name='etag',
            field=models.CharField(blank=True, max_length=40),
        ),
        migrations.AddField(
            model_name='feed',
            name='facts',
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.AddField(
            model_name='feed',
            name='whole_desk',
            field=models.BooleanField(default=False),
        ),
        migrations.RunPython(leave_one_open, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name='feed',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('site__isnull', False), ('technician__isnull', True), ('whole_desk', False)), models.Q(('site__isnull', True), ('technician__isnull', False), ('whole_desk', False)), models.Q(('site__isnull', True), ('technician__isnull', True), ('whole_desk', True)), _connector='OR'), name='feed_of_one_owner'),
        ),
        migrations.AddConstraint(
            model_name='feed',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at', None)), fields=('site',), name='one_open_feed_a_site'),
        ),
        migrations.AddConstraint(
            model_name='feed',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn_at', None)), fields=('technician',), name='one_open_feed_a_technician'),
        ),
        migrations.AddConstraint(
            model_name='feed',
            constraint=models.UniqueConstraint(condition=models.Q(('whole_desk', True), ('withdrawn_at', None)), fields=('whole_desk',), name='one_open_feed_of_the_desk'),
        ),
        migrations.AddField(
            model_name='calendarevent',
            name='site',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='calendar_events', to='equipment.site'),
        ),
        migrations.AddField(
            model_name='calendarevent',
            name='slot',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='calendar_events', to='equipment.filterslot'),
        ),
        migrations.AddField(
            model_name='calendarevent',
            name='technician',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='calendar_events', to='schedules.technician'),
        ),
        migrations.AddField(
            model_name='calendarevent',
            name='visit',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='calendar_events', to='schedules.visit'),
        ),
        migrations.AddField(
            model_name='reply',
            name='visit',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='replies', to='schedules.visit'),
        ),
        migrations.AddConstraint(
            model_name='calendarevent',
            constraint=models.CheckConstraint(condition=models.Q(('site__isnull', True), ('technician__isnull', True), _connector='OR'), name='event_of_one_calendar'),
        ),
        migrations.AddConstraint(
            model_name='calendarevent',
            constraint=models.CheckConstraint(condition=models.Q(('last_at__gte', models.F('first_at'))), name='event_in_order'),
        ),
        migrations.AddConstraint(
            model_name='reply',
            constraint=models.UniqueConstraint(fields=('message_id', 'visit'), name='reply_read_once'),
        ),
    ]
