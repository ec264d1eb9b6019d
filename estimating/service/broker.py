"""The way to the workers: a message that says that there is something to do."""

import logging
from typing import Any

from celery import current_app
from django.conf import settings

logger = logging.getLogger(__name__)


def tell(task: str, *args: Any, queue: str) -> None:
    """Tell a worker to do a task. Nothing depends on it: without a broker, or when it fails, the sweep comes."""
    if not settings.REDIS_URL:
        return
    try:
        current_app.send_task(task, args, queue=queue, retry=False)
    except Exception:  # whatever the broker's library raises
        logger.warning("%s %s was not announced, the sweep will find it", task, args, exc_info=True)
