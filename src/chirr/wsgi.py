"""The WSGI entry point that the server runs."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "chirr.settings")
application = get_wsgi_application()

from django.db import connections  # noqa: E402 - once the framework is ready

from chirr.desk.belief import serve_pages  # noqa: E402

serve_pages()
connections.close_all()
