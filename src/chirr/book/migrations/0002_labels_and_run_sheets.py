"""Which labels were printed, and the run sheets with what was typed in from them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("book", "0001_the_book"),
    ]

    operations = [
        migrations.CreateModel(
            name="LabelRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.CharField(max_length=12)),
                ("name", models.CharField(max_length=60)),
                ("at", models.BigIntegerField()),
                ("address", models.CharField(max_length=200)),
            ],
            options={
                "indexes": [models.Index(fields=["kind", "name"], name="book_label_of")],
            },
        ),
        migrations.CreateModel(
            name="WalkSheetRow",
            fields=[
                ("code", models.CharField(max_length=8, primary_key=True, serialize=False)),
                ("day", models.CharField(max_length=10)),
                ("made_at", models.BigIntegerField()),
                ("sheet", models.TextField()),
                ("marks", models.TextField(default="")),
            ],
            options={
                "indexes": [models.Index(fields=["made_at"], name="book_sheet_made")],
            },
        ),
    ]
