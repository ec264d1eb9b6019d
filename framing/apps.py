"""The framing app: surveys and what the engine made of them."""

from django.apps import AppConfig


class FramingConfig(AppConfig):
    name = "framing"
    verbose_name = "Framing"

    def ready(self) -> None:
        from framing import tasks  # noqa: F401 - registers the kinds of its runs
