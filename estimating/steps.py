"""A job from the first call to closed: its states in order, and what blocks a step from one to another."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple, Protocol

STATES = ("lead", "surveyed", "framed", "quoted", "accepted", "deposit-paid", "scheduled", "building", "punch",
          "handed-over", "closed")  # fmt: skip
LOST = "lost"
OFFICE, OWNER = "office", "owner of the office"


class Blocker(NamedTuple):
    """One thing that stands in the way: a code for programs, a sentence for people, and who can clear it."""

    code: str
    text: str
    who: str


@dataclass(frozen=True)
class JobFacts:
    """What is known of a job on one day; dates are days in the office's time zone."""

    state: str
    today: date
    roof_owner: str = "unknown"
    consent_needed: bool | None = None
    consent_asked_on: date | None = None
    consent_given_on: date | None = None
    surveys: int = 0
    framings: int = 0
    stops: int = 0  # of the newest framing
    quote: str = ""  # number of the newest quote
    priced: bool = False
    prices_valid_to: date | None = None
    offered: bool = False
    valid_until: date | None = None  # of the newest revision
    papers: int = 0  # of the newest revision
    accepted_on: date | None = None
    cancel_by: date | None = None  # last day on which the accepted sale may be cancelled
    cancelled: bool = False  # the customer cancelled it in that time
    deposit_received_on: date | None = None
    starts_on: date | None = None
    built_on: date | None = None
    handed_over_on: date | None = None
    paid_on: date | None = None


class RoofConsent(Protocol):
    """What is known of the roof's owner and their consent; a job has it, and so have the facts of one."""

    @property
    def roof_owner(self) -> str: ...
    @property
    def consent_needed(self) -> bool | None: ...
    @property
    def consent_asked_on(self) -> date | None: ...
    @property
    def consent_given_on(self) -> date | None: ...


Rule = Callable[[JobFacts], Blocker | None]


def _survey(job: JobFacts) -> Blocker | None:
    return None if job.surveys else Blocker("survey-missing", "The roof has no survey yet.", "who surveys the roof")


def _framing(job: JobFacts) -> Blocker | None:
    if not job.framings:
        return Blocker("framing-missing", "No build has been framed on the survey.", "estimator")
    if job.stops:
        several = "s say" if job.stops != 1 else " says"
        return Blocker("framing-has-stops", f"The framing cannot be made as asked: {job.stops} stop{several} what "
                       "would clear it.", "estimator")  # fmt: skip
    return None


def _roof_owner(job: RoofConsent) -> Blocker | None:
    if job.roof_owner == "unknown":
        return Blocker("roof-owner-unknown", "Who owns and controls the roof is not known.", "customer")
    return None


def _consent_known(job: RoofConsent) -> Blocker | None:
    if job.roof_owner != "customer" and job.consent_needed is None:
        return Blocker("consent-undecided", "Whether a board or landlord must consent to the work is not known.",
                       "customer")  # fmt: skip
    return None


def _consent(job: RoofConsent) -> Blocker | None:
    if not job.consent_needed or job.consent_given_on is not None:
        return None
    who = {"board": "board", "landlord": "landlord"}.get(job.roof_owner, "whoever owns the roof")
    consent = f"The consent of the roof's owner ({who})"
    if job.consent_asked_on is None:
        return Blocker("consent-not-asked", f"{consent} was not asked for; it must be on file in writing.", "customer")
    return Blocker("consent-missing", f"{consent} was asked for on {job.consent_asked_on} and is not on file in "
                   "writing.", who)  # fmt: skip


def consent_blocker(job: RoofConsent) -> Blocker | None:
    """What is still open about the consent of the roof's owner: who that is, whether it is needed, that it is given.

    Given means in writing and on file; a job takes no date of consent without the file that says so.
    """
    return _roof_owner(job) or _consent_known(job) or _consent(job)


def _price(job: JobFacts) -> Blocker | None:
    if not job.quote:
        return Blocker("quote-missing", "The framing is not priced.", "estimator")
    if job.offered:
        return None
    if not job.priced:
        return Blocker("quote-without-price", f"{job.quote} has no price; its findings say what is missing.",
                       "estimator")  # fmt: skip
    if job.prices_valid_to is not None and job.prices_valid_to < job.today:
        return Blocker("prices-ended", f"Prices under {job.quote} ended on {job.prices_valid_to}; price it anew.",
                       "estimator")  # fmt: skip
    return Blocker("nothing-offered", f"{job.quote} was not issued as a revision.", "estimator")


def _offer(job: JobFacts) -> Blocker | None:
    if not job.offered:
        return Blocker("nothing-offered", "No revision of a quote was issued.", "estimator")
    # An offer that was accepted in time stays accepted.
    if job.valid_until is not None and job.valid_until < (job.accepted_on or job.today):
        return Blocker("offer-ended", f"The offer was valid until {job.valid_until}; issue another revision.",
                       "estimator")  # fmt: skip
    return None


def _papers(job: JobFacts) -> Blocker | None:
    return None if job.papers else Blocker("papers-missing", "The crew's papers were not made.", "estimator")


def _dated(field: str, code: str, text: str, who: str) -> Rule:
    """A step that happened on a day; the day is typed in by whoever saw it happen."""

    def rule(job: JobFacts) -> Blocker | None:
        day = getattr(job, field)
        if day is None:
            return Blocker(code, text, who)
        if day > job.today and field != "starts_on":
            return Blocker(code, f"{text} The day given, {day}, is still to come.", who)
        return None

    return rule


def _not_cancelled(job: JobFacts) -> Blocker | None:
    if not job.cancelled:
        return None
    return Blocker("sale-cancelled", "The customer cancelled the sale within the time for it: nothing is paid, ordered "
                   "or built under it.", OFFICE)  # fmt: skip


def _held(job: JobFacts) -> Blocker | None:
    if job.cancelled or job.cancel_by is None or job.today > job.cancel_by:
        return None
    return Blocker("may-be-cancelled", f"Until the end of {job.cancel_by} the sale may be cancelled; no goods are "
                   "ordered and no work begins before.", "nobody: the day has to pass")  # fmt: skip


# What must be so before a job may stand in a state. Each state adds to those before it; a step over several asks for
# all of them.
RULES: dict[str, tuple[Rule, ...]] = {
    "surveyed": (_survey,),
    "framed": (_framing,),
    "quoted": (_roof_owner, _price),
    "accepted": (
        _roof_owner, _consent_known, _offer,
        _dated("accepted_on", "not-accepted", "The customer has not accepted the offer.", "customer"),
    ),
    "deposit-paid": (
        _not_cancelled, _dated("deposit_received_on", "deposit-missing", "The deposit was not received.", "customer"),
    ),
    "scheduled": (
        _not_cancelled, _held, _consent,
        _dated("starts_on", "start-missing", "No day was set for the work to begin.", OFFICE),
    ),
    "building": (_not_cancelled, _held, _papers),
    "punch": (_not_cancelled, _held, _dated("built_on", "not-built", "The deck is not reported as built.", "crew")),
    "handed-over": (
        _not_cancelled, _held, _dated("handed_over_on", "not-handed-over", "The deck was not handed over.", OFFICE),
    ),
    "closed": (
        _not_cancelled, _held,
        _dated("paid_on", "final-payment-missing", "The final payment was not received.", "customer"),
    ),
}  # fmt: skip


def next_state(state: str) -> str | None:
    """The state after this one; none after the last, or for a job that was lost."""
    return STATES[STATES.index(state) + 1] if state in STATES[:-1] else None


def blockers(job: JobFacts, to: str | None = None) -> tuple[Blocker, ...]:
    """What stands between a job and a state, the next one unless told; empty where the step may be taken.

    Raises ValueError where there is no such state.
    """
    to = to or next_state(job.state)
    if to is None or to == job.state:
        return ()
    if to != LOST and to not in STATES:
        raise ValueError(f"there is no state {to!r}; expected one of {', '.join((*STATES, LOST))}")
    if job.state == LOST:
        return (Blocker("job-lost", "The job was lost; taking it up again is for the owner to say.", OWNER),)
    at = STATES.index(job.state)
    if to == LOST:
        if at < STATES.index("accepted") or job.cancelled:
            return ()
        return (Blocker("already-accepted", "The offer was accepted; whether the job is lost is for the owner to say.",
                        OWNER),)  # fmt: skip
    if STATES.index(to) < at:
        return (Blocker("step-back", f"The job is {job.state} already; {to} would be a step back.", OWNER),)
    found = (rule(job) for state in STATES[at + 1 : STATES.index(to) + 1] for rule in RULES[state])
    return tuple(dict.fromkeys(blocker for blocker in found if blocker is not None))
