"""Where a job stands: the next step, and what blocks it."""

from __future__ import annotations

from estimating.models import Job
from framing.models import Framing
from quotes.models import Quote, Revision


def next_step(job: Job, framing: Framing | None, quote: Quote | None, revision: Revision | None) -> str:
    """One sentence for the person who opens the job."""
    if framing is None:
        surveyed = job.surveys.exists()
        return "choose a build and frame it." if surveyed else "survey the roof and hand the survey in."
    if framing.stops:
        return f"the build cannot be made as asked: {framing.stops} stop{'s' * (framing.stops != 1)} below say what " \
               "would clear it."
    if quote is None:
        return "price the framing."
    if quote.price is None:
        return "the price is blocked; what is missing stands under Price."
    if revision is None:
        return f"issue {quote.number} as a revision."
    if not revision.files.exists():
        return f"have the papers of {revision} made."
    return f"look through the proposal of {revision} and what must be acknowledged in it."
