"""Devices on which people have signed in, their PINs, and calendar feeds."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("book", "0002_labels_and_run_sheets"),
    ]

    operations = [
        migrations.CreateModel(
            name="DeviceRow",
            fields=[
                ("id", models.CharField(max_length=36, primary_key=True, serialize=False)),
                ("token", models.CharField(max_length=64, unique=True)),
                ("name", models.CharField(max_length=60)),
                ("made_at", models.BigIntegerField()),
                ("last_at", models.BigIntegerField()),
                ("last_person", models.CharField(default="", max_length=60)),
                ("ended_at", models.BigIntegerField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name="PinRow",
            fields=[
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        serialize=False,
                        to="book.personrow",
                    ),
                ),
                ("pin", models.CharField(max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name="FeedRow",
            fields=[
                ("id", models.CharField(max_length=36, primary_key=True, serialize=False)),
                ("token", models.CharField(max_length=64, unique=True)),
                ("name", models.CharField(max_length=60)),
                ("made_at", models.BigIntegerField()),
                ("last_at", models.BigIntegerField(null=True)),
                (
                    "person",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="book.personrow"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DevicePersonRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("wrong", models.PositiveSmallIntegerField(default=0)),
                (
                    "person",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="book.personrow"),
                ),
                (
                    "device",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="people", to="book.devicerow"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("device", "person"), name="one_proof_a_device_and_person")
                ],
            },
        ),
    ]
