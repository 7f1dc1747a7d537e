"""The book as an older copy of its file leaves it."""

from __future__ import annotations

from django.db import connection


def put_back(to: int) -> None:
    """The entries after one by number are gone, and their numbers are free again."""
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER IF EXISTS book_entry_never_goes")
        cursor.execute("DELETE FROM book_entryrow WHERE seq > %s", (to,))
        cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = 'book_entryrow'", (to,))
