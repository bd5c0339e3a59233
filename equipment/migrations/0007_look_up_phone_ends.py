from django.db import migrations

from equipment.look_up_tables import note_again


class Migration(migrations.Migration):
    """Phones stand between blanks from now on, so that their ends are found: every text is written anew."""

    dependencies = [("equipment", "0006_look_up")]

    operations = [migrations.RunPython(lambda apps, schema_editor: note_again(schema_editor), migrations.RunPython.noop)]
