"""The project itself: settings, addresses and the ways in."""

from estimating.config.celery import app as celery_app  # so that shared tasks find it in every process

__all__ = ["celery_app"]
