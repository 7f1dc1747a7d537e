"""The timed entries, one in ten, found without reading the others: the round asks for the newest of them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("book", "0003_devices_pins_and_feeds"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="entryrow",
            index=models.Index(
                fields=["at", "id"], condition=models.Q(("minutes__isnull", False)), name="book_entry_timed"
            ),
        ),
    ]
