"""The quotes app: from quantities and prices to a proposal."""

from django.apps import AppConfig


class QuotesConfig(AppConfig):
    name = "quotes"
    verbose_name = "Quotes"

    def ready(self) -> None:
        from quotes import tasks  # noqa: F401 - registers the kinds of its runs
