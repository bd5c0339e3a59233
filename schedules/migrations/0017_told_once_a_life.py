from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('schedules', '0016_readers_named'),
    ]

    operations = [
        migrations.AddConstraint(
            model_name='noticeslot',
            constraint=models.UniqueConstraint(condition=models.Q(('void', False)), fields=('slot', 'kind', 'life', 'person'), name='told_once_a_life'),
        ),
    ]
