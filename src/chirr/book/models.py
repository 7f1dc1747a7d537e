"""The tables of the book: entries that are only ever added, readings, and the things they speak of."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models


class FarmRow(models.Model):
    """The farm card: one row."""

    card = models.JSONField()

    def __str__(self) -> str:
        return str(self.card.get("name", "farm"))


class RoomRow(models.Model):
    """An insulated room and its set points."""

    name = models.CharField(max_length=60, primary_key=True)
    order = models.PositiveIntegerField(default=0)
    set_temperature_c = models.FloatField()
    set_humidity_pct = models.FloatField(null=True, blank=True)
    extra = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["order", "name"]

    def __str__(self) -> str:
        return self.name


class BinRow(models.Model):
    """A bin and where it stood at first."""

    name = models.CharField(max_length=60, primary_key=True)
    order = models.PositiveIntegerField(default=0)
    room = models.ForeignKey(RoomRow, on_delete=models.PROTECT, related_name="bins")
    stack = models.PositiveIntegerField()
    level = models.PositiveIntegerField()
    duty = models.CharField(max_length=20)
    floor_cm2 = models.FloatField()
    hides_cm2 = models.FloatField(default=0)
    extra = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["order", "name"]

    def __str__(self) -> str:
        return self.name


class TrayTypeRow(models.Model):
    """A size of laying tray."""

    name = models.CharField(max_length=60, primary_key=True)
    order = models.PositiveIntegerField(default=0)
    length_cm = models.FloatField()
    width_cm = models.FloatField()
    depth_cm = models.FloatField()
    clear_side_cm = models.FloatField(null=True, blank=True)
    extra = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["order", "name"]

    def __str__(self) -> str:
        return self.name


class PersonRow(models.Model):
    """Somebody who works with the book; `user` is their sign-in, once they have one."""

    name = models.CharField(max_length=60, primary_key=True)
    order = models.PositiveIntegerField(default=0)
    role = models.CharField(max_length=10)
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.SET_NULL, null=True, blank=True, related_name="person"
    )
    extra = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["order", "name"]

    def __str__(self) -> str:
        return self.name


class EntryRow(models.Model):
    """One entry. The database itself refuses to change or remove it (see the migration's triggers)."""

    seq = models.BigAutoField(primary_key=True)
    id = models.CharField(max_length=36, unique=True)
    at = models.BigIntegerField()
    received = models.BigIntegerField()
    deed = models.CharField(max_length=12)
    person = models.CharField(max_length=60, null=True)  # noqa: DJ001 - absent is not the same as empty in the book
    bin = models.CharField(max_length=60, null=True)  # noqa: DJ001
    lot = models.CharField(max_length=60, null=True)  # noqa: DJ001
    clutch = models.CharField(max_length=60, null=True)  # noqa: DJ001
    to_bin = models.CharField(max_length=60, null=True)  # noqa: DJ001
    to_lot = models.CharField(max_length=60, null=True)  # noqa: DJ001
    minutes = models.FloatField(null=True)
    replaces = models.CharField(max_length=36, null=True)  # noqa: DJ001
    note = models.TextField(null=True)  # noqa: DJ001
    record = models.TextField()
    """The whole entry as JSON: the fact itself. The columns above are there to search by."""

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["at", "id"]),
            models.Index(fields=["bin", "at"]),
            models.Index(fields=["lot", "at"]),
            models.Index(fields=["clutch", "at"]),
            models.Index(fields=["deed", "at"]),
            models.Index(fields=["replaces"], condition=models.Q(replaces__isnull=False), name="book_entry_replaces"),
            models.Index(fields=["at", "id"], condition=models.Q(minutes__isnull=False), name="book_entry_timed"),
        ]

    def __str__(self) -> str:
        return f"{self.deed} {self.id}"


class ReadingRow(models.Model):
    """Air measured at a place. level -1 stands for the room as a whole."""

    at = models.BigIntegerField()
    room = models.CharField(max_length=60)
    level = models.IntegerField(default=-1)
    temperature_c = models.FloatField()
    humidity_pct = models.FloatField(null=True)
    extra = models.JSONField(default=dict)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["room", "level", "at"], name="one_reading_a_place_and_time")
        ]

    def __str__(self) -> str:
        return f"{self.room}/{self.level} {self.at}"


class SnapshotRow(models.Model):
    """A standing kept to save replaying from the first entry; thrown away whenever it may be out of date."""

    seq = models.BigIntegerField()
    at = models.BigIntegerField()
    standing = models.BinaryField()

    def __str__(self) -> str:
        return f"standing at {self.at}"


class SignInTry(models.Model):
    """A failed sign-in, kept a quarter of an hour so that guessing is slow."""

    at = models.BigIntegerField()
    name = models.CharField(max_length=150)
    address = models.CharField(max_length=64)

    class Meta:
        indexes: ClassVar = [models.Index(fields=["at"])]

    def __str__(self) -> str:
        return f"{self.name} from {self.address}"


class LabelRow(models.Model):
    """A label that was printed: for what, when, and with which address of the farm in its code."""

    kind = models.CharField(max_length=12)
    name = models.CharField(max_length=60)
    at = models.BigIntegerField()
    address = models.CharField(max_length=200)

    class Meta:
        indexes: ClassVar = [models.Index(fields=["kind", "name"], name="book_label_of")]

    def __str__(self) -> str:
        return f"label of {self.kind} {self.name}"


class WalkSheetRow(models.Model):
    """A run sheet that was printed, as it was, and the pen marks typed in from it."""

    code = models.CharField(max_length=8, primary_key=True)
    day = models.CharField(max_length=10)
    made_at = models.BigIntegerField()
    sheet = models.TextField()
    marks = models.TextField(default="")

    class Meta:
        indexes: ClassVar = [models.Index(fields=["made_at"], name="book_sheet_made")]

    def __str__(self) -> str:
        return f"run sheet {self.code} of {self.day}"


class DeviceRow(models.Model):
    """A phone or computer on which somebody has signed in. Its cookie holds a token, of which only the hash is here."""

    id = models.CharField(max_length=36, primary_key=True)
    token = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=60)
    made_at = models.BigIntegerField()
    last_at = models.BigIntegerField()
    last_person = models.CharField(max_length=60, default="")
    ended_at = models.BigIntegerField(null=True)

    def __str__(self) -> str:
        return self.name


class DevicePersonRow(models.Model):
    """Somebody who has signed in with their password on a device, and how often their PIN was wrong there since."""

    device = models.ForeignKey(DeviceRow, on_delete=models.CASCADE, related_name="people")
    person = models.ForeignKey(PersonRow, on_delete=models.CASCADE)
    wrong = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["device", "person"], name="one_proof_a_device_and_person")
        ]

    def __str__(self) -> str:
        return f"{self.person_id} on {self.device_id}"


class PinRow(models.Model):
    """A person's PIN, hashed, for devices on which they have signed in with their password."""

    person = models.OneToOneField(PersonRow, on_delete=models.CASCADE, primary_key=True)
    pin = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"PIN of {self.person_id}"


class FeedRow(models.Model):
    """A calendar feed that somebody made for themselves. The secret in its address is kept only as a hash."""

    id = models.CharField(max_length=36, primary_key=True)
    token = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(PersonRow, on_delete=models.CASCADE)
    name = models.CharField(max_length=60)
    language = models.CharField(max_length=10, default="en-gb")
    made_at = models.BigIntegerField()
    last_at = models.BigIntegerField(null=True)

    def __str__(self) -> str:
        return f"{self.name} of {self.person_id}"
