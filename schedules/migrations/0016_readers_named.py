from django.db import migrations, models


def name_the_readers(apps, schema_editor):
    """Rows written so far were told to the reader of their letter, and those not sent to nobody."""
    rows = apps.get_model("schedules", "NoticeSlot").objects
    reader = apps.get_model("schedules", "Notice").objects.filter(pk=models.OuterRef("notice_id"))
    rows.update(person_id=models.Subquery(reader.values("person_id")[:1]))
    rows.filter(notice__state="not_sent").update(void=True)


class Migration(migrations.Migration):

    dependencies = [
        ('schedules', '0015_delivery'),
    ]

    operations = [
        migrations.RunPython(name_the_readers, migrations.RunPython.noop),
    ]
