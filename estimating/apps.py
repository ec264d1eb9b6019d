"""The estimating app; it also sees to the triggers of every app's append-only tables."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.utils.module_loading import autodiscover_modules


class EstimatingConfig(AppConfig):
    name = "estimating"
    verbose_name = "Office"

    def ready(self) -> None:
        from estimating.service import append_only

        autodiscover_modules("tasks")  # where apps register their kinds of run
        post_migrate.connect(append_only.protect_after_migrate, dispatch_uid="append-only")
