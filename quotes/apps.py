"""The quotes app: from quantities and prices to a proposal."""

from django.apps import AppConfig


class QuotesConfig(AppConfig):
    name = "quotes"
    verbose_name = "Quotes"

    def ready(self) -> None:
        from estimating.customers import customer_erased
        from quotes import progress, tasks  # noqa: F401 - they register
        from quotes.acceptance import receipts, signing  # noqa: F401
        from quotes.mail import outbox
        from quotes.paper import files

        customer_erased.connect(files.forget_papers, dispatch_uid="forget-papers")
        customer_erased.connect(signing.forget_people, dispatch_uid="forget-people")
        customer_erased.connect(outbox.forget_mails, dispatch_uid="forget-mails")
