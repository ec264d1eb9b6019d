"""The project's settings as the tests use them: quick passwords, files of their own, no words to the console."""

import os
from pathlib import Path

BUILD = Path(__file__).resolve().parents[1] / "build" / "tests" / os.environ.get("PYTEST_XDIST_WORKER", "")
(BUILD / "static").mkdir(parents=True, exist_ok=True)
os.environ.setdefault("SECRET_KEY", "for the tests only " * 4)
os.environ.setdefault("ALLOWED_HOSTS", "testserver,localhost")
os.environ["FILES"] = str(BUILD / "files")
os.environ["STATIC_ROOT"] = str(BUILD / "static")
os.environ["HTTPS"] = "0"
os.environ["DEBUG"] = "0"

from estimating.config.settings import *  # noqa: E402, F403
from estimating.config.settings import CELERY_BROKER_TRANSPORT_OPTIONS, DATABASES, STORAGES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {**STORAGES, "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
# What REDIS_URL names may hold an office's own messages: the tests' stand apart, and they never empty its cache.
CELERY_BROKER_TRANSPORT_OPTIONS = {**CELERY_BROKER_TRANSPORT_OPTIONS, "global_keyprefix": "tests-"}
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
if "sqlite3" in DATABASES["default"]["ENGINE"]:
    # A file, so that a second thread or process sees the same database.
    DATABASES["default"]["TEST"] = {"NAME": str(BUILD / "test.sqlite3")}
