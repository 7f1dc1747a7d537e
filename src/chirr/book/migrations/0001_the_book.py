# Begun by Django 5.2.19 on 2026-11-25 07:03

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="FarmRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("card", models.JSONField()),
            ],
        ),
        migrations.CreateModel(
            name="RoomRow",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("order", models.PositiveIntegerField(default=0)),
                ("set_temperature_c", models.FloatField()),
                ("set_humidity_pct", models.FloatField(blank=True, null=True)),
                ("extra", models.JSONField(default=dict)),
            ],
            options={
                "ordering": ["order", "name"],
            },
        ),
        migrations.CreateModel(
            name="SnapshotRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("seq", models.BigIntegerField()),
                ("at", models.BigIntegerField()),
                ("standing", models.BinaryField()),
            ],
        ),
        migrations.CreateModel(
            name="TrayTypeRow",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("order", models.PositiveIntegerField(default=0)),
                ("length_cm", models.FloatField()),
                ("width_cm", models.FloatField()),
                ("depth_cm", models.FloatField()),
                ("clear_side_cm", models.FloatField(blank=True, null=True)),
                ("extra", models.JSONField(default=dict)),
            ],
            options={
                "ordering": ["order", "name"],
            },
        ),
        migrations.CreateModel(
            name="EntryRow",
            fields=[
                ("seq", models.BigAutoField(primary_key=True, serialize=False)),
                ("id", models.CharField(max_length=36, unique=True)),
                ("at", models.BigIntegerField()),
                ("received", models.BigIntegerField()),
                ("deed", models.CharField(max_length=12)),
                ("person", models.CharField(max_length=60, null=True)),
                ("bin", models.CharField(max_length=60, null=True)),
                ("lot", models.CharField(max_length=60, null=True)),
                ("clutch", models.CharField(max_length=60, null=True)),
                ("to_bin", models.CharField(max_length=60, null=True)),
                ("to_lot", models.CharField(max_length=60, null=True)),
                ("minutes", models.FloatField(null=True)),
                ("replaces", models.CharField(max_length=36, null=True)),
                ("note", models.TextField(null=True)),
                ("record", models.TextField()),
            ],
            options={
                "indexes": [
                    models.Index(fields=["at", "id"], name="book_entryr_at_3d6087_idx"),
                    models.Index(fields=["bin", "at"], name="book_entryr_bin_1da6d7_idx"),
                    models.Index(fields=["lot", "at"], name="book_entryr_lot_dddf42_idx"),
                    models.Index(fields=["clutch", "at"], name="book_entryr_clutch_6ab759_idx"),
                    models.Index(fields=["deed", "at"], name="book_entryr_deed_40b3c2_idx"),
                    models.Index(
                        condition=models.Q(("replaces__isnull", False)), fields=["replaces"], name="book_entry_replaces"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PersonRow",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("order", models.PositiveIntegerField(default=0)),
                ("role", models.CharField(max_length=10)),
                ("extra", models.JSONField(default=dict)),
                (
                    "user",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="person",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["order", "name"],
            },
        ),
        migrations.CreateModel(
            name="ReadingRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.BigIntegerField()),
                ("room", models.CharField(max_length=60)),
                ("level", models.IntegerField(default=-1)),
                ("temperature_c", models.FloatField()),
                ("humidity_pct", models.FloatField(null=True)),
                ("extra", models.JSONField(default=dict)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("room", "level", "at"), name="one_reading_a_place_and_time")
                ],
            },
        ),
        migrations.CreateModel(
            name="BinRow",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("order", models.PositiveIntegerField(default=0)),
                ("stack", models.PositiveIntegerField()),
                ("level", models.PositiveIntegerField()),
                ("duty", models.CharField(max_length=20)),
                ("floor_cm2", models.FloatField()),
                ("hides_cm2", models.FloatField(default=0)),
                ("extra", models.JSONField(default=dict)),
                (
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bins", to="book.roomrow"
                    ),
                ),
            ],
            options={
                "ordering": ["order", "name"],
            },
        ),
        migrations.CreateModel(
            name="SignInTry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.BigIntegerField()),
                ("name", models.CharField(max_length=150)),
                ("address", models.CharField(max_length=64)),
            ],
            options={
                "indexes": [models.Index(fields=["at"], name="book_signin_at_f284fd_idx")],
            },
        ),
        migrations.RunSQL(
            sql="""
            CREATE TRIGGER book_entry_never_changes BEFORE UPDATE ON book_entryrow
            BEGIN SELECT RAISE(ABORT, 'An entry of the book is never changed; write a new one that replaces it.'); END;
            CREATE TRIGGER book_entry_never_goes BEFORE DELETE ON book_entryrow
            BEGIN SELECT RAISE(ABORT, 'An entry of the book is never removed; write a correct entry.'); END;
            """,
            reverse_sql="DROP TRIGGER book_entry_never_changes; DROP TRIGGER book_entry_never_goes;",
        ),
    ]
