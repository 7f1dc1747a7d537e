"""The book as a Django app."""

from django.apps import AppConfig


class BookConfig(AppConfig):
    name = "chirr.book"
    label = "book"
