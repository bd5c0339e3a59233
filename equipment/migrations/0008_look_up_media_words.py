from django.db import migrations

from equipment.look_up_tables import note_again


class Migration(migrations.Migration):
    """The words of media are known from now on, so that slips in them are forgiven: every text is written anew."""

    dependencies = [("equipment", "0007_look_up_phone_ends")]

    operations = [migrations.RunPython(lambda apps, schema_editor: note_again(schema_editor), migrations.RunPython.noop)]
