"""The office's page of what waits for a person, where a mail can be sent again or put aside."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from estimating.models import Office
from estimating.service.permissions import OFFICE, READERS
from quotes.mail import outbox
from quotes.models import OutboxMail
from quotes.waiting import waiting_list


@require_safe
@login_required
def waiting(request: HttpRequest) -> HttpResponse:
    """What waits, longest first."""
    _check_role(request, READERS)
    found, office = waiting_list(timezone.now()), Office.objects.first()
    addresses = dict(OutboxMail.objects.filter(pk__in=[one.mail for one in found if one.mail])
                     .values_list("pk", "recipient"))
    rows = [{"what": one, "address": addresses.get(one.mail)} for one in found]
    return render(request, "office/waiting.html", {
        "rows": rows, "office_name": office.name if office else "", "may_act": request.user.role in OFFICE,
    })


@require_POST
@login_required
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a mail again, to the address that was typed."""
    _check_role(request, OFFICE)
    mail = get_object_or_404(OutboxMail.objects.defer("message"), pk=pk)
    if mail.seen_at is not None:
        messages.info(request, "That mail has been dealt with already.")
        return redirect("waiting")
    try:
        new = outbox.resend_mail(pk, to=request.POST.get("to", "").strip() or None, by=request.user,
                                 now=timezone.now())
        messages.info(request, f"It goes again, to {new.recipient}.")
    except (outbox.CannotResend, outbox.BadAddress) as no:
        messages.error(request, str(no))
    return redirect("waiting")


@require_POST
@login_required
def seen(request: HttpRequest, pk: int) -> HttpResponse:
    """A refused mail was dealt with in another way."""
    _check_role(request, OFFICE)
    get_object_or_404(OutboxMail.objects.defer("message"), pk=pk)
    try:
        outbox.see_mail(pk, by=request.user, now=timezone.now())
    except outbox.NothingToSee as no:
        messages.error(request, str(no))
    return redirect("waiting")


def _check_role(request: HttpRequest, roles: frozenset) -> None:
    if request.user.role not in roles:
        raise PermissionDenied("This is for the office.")


urlpatterns = [
    path("", waiting, name="waiting"),
    path("mails/<int:pk>/again", again, name="waiting-again"),
    path("mails/<int:pk>/seen", seen, name="waiting-seen"),
]
