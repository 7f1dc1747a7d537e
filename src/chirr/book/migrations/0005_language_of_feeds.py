"""A calendar feed is told in the language of whoever made it."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("book", "0004_timed_entries"),
    ]

    operations = [
        migrations.AddField(
            model_name="feedrow",
            name="language",
            field=models.CharField(default="en-gb", max_length=10),
        ),
    ]
