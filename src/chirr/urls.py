"""Addresses: everything belongs to the pages."""

from __future__ import annotations

from django.urls import include, path

urlpatterns = [path("", include("chirr.pages.urls"))]
