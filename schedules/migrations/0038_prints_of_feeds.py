"""Of calendars' addresses only prints are kept; those there are go on answering, and cannot be shown again."""

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

import shared.keys


def keep_prints(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """The print of each address that there is, and no seed."""
    feeds = apps.get_model("schedules", "Feed")
    for feed in feeds.objects.only("secret").iterator():
        feeds.objects.filter(pk=feed.pk).update(print=shared.keys.key_print(feed.secret), seed="")


def new_addresses(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Back: prints give no address, so that each has a new one."""
    feeds = apps.get_model("schedules", "Feed")
    for feed in feeds.objects.only("pk").iterator():
        feeds.objects.filter(pk=feed.pk).update(secret=shared.keys.new_key())


class Migration(migrations.Migration):
    dependencies = [("schedules", "0037_other_hour")]

    operations = [
        migrations.AddField("feed", "print", models.CharField(max_length=64, null=True)),
        migrations.AddField(
            "feed", "seed", models.CharField(blank=True, default=shared.keys.new_seed, max_length=24)
        ),
        migrations.AlterField("feed", "secret", models.CharField(max_length=48, null=True)),
        migrations.RunPython(keep_prints, new_addresses),
        migrations.AlterField("feed", "print", models.CharField(max_length=64, unique=True)),
        migrations.RemoveField("feed", "secret"),
    ]
