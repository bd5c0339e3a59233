from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('equipment', '0018_told_by_the_desk'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='filterslot',
            index=models.Index(fields=['changed_by'], name='slot_changed_by'),
        ),
        # The look-up finds two sides by the sizes on record.
        migrations.RunSQL('DROP INDEX IF EXISTS equipment_look_up_face', migrations.RunSQL.noop),
    ]
