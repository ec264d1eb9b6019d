"""Mail of offers: letters, the outbox, and handing over to a mail server."""
