from django.db import migrations

from equipment.look_up_tables import put_up, take_down


class Migration(migrations.Migration):

    dependencies = [("equipment", "0005_commissioning")]

    operations = [
        migrations.RunPython(
            lambda apps, schema_editor: put_up(schema_editor),
            lambda apps, schema_editor: take_down(schema_editor),
        )
    ]
