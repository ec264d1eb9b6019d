"""The Celery application; without a broker it stays idle and the sweep does its work."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "estimating.config.settings")

app = Celery("estimating")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
