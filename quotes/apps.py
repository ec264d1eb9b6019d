"""The quotes app: from quantities and prices to a proposal."""

from django.apps import AppConfig


class QuotesConfig(AppConfig):
    name = "quotes"
    verbose_name = "Quotes"

    def ready(self) -> None:
        from estimating.customers import customer_erased
        from quotes import acceptance, acceptance_tasks, outbox, papers, progress, tasks  # noqa: F401 - they register

        customer_erased.connect(papers.forget_papers, dispatch_uid="forget-papers")
        customer_erased.connect(acceptance.forget_people, dispatch_uid="forget-people")
        customer_erased.connect(outbox.forget_mails, dispatch_uid="forget-mails")
