"""Django settings. The farm's book (one SQLite file) is named by CHIRR_FARM; everything else has one right value."""

from __future__ import annotations

import json
import os
import secrets
from pathlib import Path

from chirr.pages import assets

HERE = Path(__file__).resolve().parent
FARM_PATH = Path(os.environ.get("CHIRR_FARM") or "farm.chirr").expanduser()


def _secret_key(beside: Path) -> str:
    """The key that signs sessions: kept beside the book, readable by its owner alone."""
    path = beside.with_name(beside.name + ".key")
    if not path.exists():
        if not path.parent.is_dir():
            return secrets.token_urlsafe(50)
        try:
            with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as f:
                f.write(secrets.token_urlsafe(50))
        except FileExistsError:
            pass
        except OSError:
            return secrets.token_urlsafe(50)
    return path.read_text().strip()


SECRET_KEY = _secret_key(FARM_PATH)
DEBUG = False
ALLOWED_HOSTS = os.environ.get("CHIRR_HOSTS", "127.0.0.1,localhost,[::1]").split(",")
LAN = json.loads(os.environ.get("CHIRR_LAN") or "null")
"""How phones reach us, told by `chirr serve --lan`; None where the pages are served without encryption."""

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "chirr.book",
    "chirr.pages",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "chirr.pages.middleware.SqueezeMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "chirr.pages.middleware.ContentPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "chirr.pages.entering.DeviceMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "chirr.pages.middleware.FarmMiddleware",
]

ROOT_URLCONF = "chirr.urls"
WSGI_APPLICATION = "chirr.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "chirr.pages.context.farm",
            ],
            "builtins": ["django.templatetags.i18n", "chirr.pages.templatetags.chirr"],
        },
    }
]

DATABASES = {
    "default": {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": FARM_PATH,
        "OPTIONS": {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": (
                "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;PRAGMA foreign_keys=ON;PRAGMA cache_size=-64000;"
            ),
        },
    }
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", "English"), ("es", "Español (1,5)"), ("es-mx", "Español (1.5)")]
"""The two kinds of Spanish have the same words and differ in the decimal sign, which is a point in Mexico."""
LOCALE_PATHS = [HERE / "locale"]
LANGUAGE_COOKIE_NAME = "language"
LANGUAGE_COOKIE_AGE = 60 * 60 * 24 * 365
USE_I18N = True

PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 8}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "round"
LOGOUT_REDIRECT_URL = "sign-in"

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = LAN is not None
# No HSTS: the set-up port and the pages share a host name, and a phone that were told "always HTTPS here" could no
# longer fetch the authority's certificate. No trusted origins for forms either: pages and forms have the same origin.
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

DATA_UPLOAD_MAX_NUMBER_FIELDS = 20_000
"""A run sheet of some hundred stops, typed in, has a few thousand fields."""

STATIC_URL = f"static/{assets.version()}/"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_IMMUTABLE_FILE_TEST = lambda _path, _url: True  # noqa: E731 - the address changes with the contents

SECURE_CSP = {
    "default-src": ["'self'"],
    "img-src": ["'self'", "data:"],
    "style-src": ["'self'"],
    "script-src": ["'self'"],
    "object-src": ["'none'"],
    "base-uri": ["'none'"],
    "frame-ancestors": ["'none'"],
    "form-action": ["'self'"],
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
