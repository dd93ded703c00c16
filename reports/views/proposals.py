"""A proposal on its way out: look at mail and PDF, send it; and an answer that came by another way."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from jobs.actions.proposals import Answer, NotAnswerable, answer, problems
from jobs.models import Proposal
from jobs.queries.planning import firm_today
from jobs.queries.proposals import STANDING_WORDS, with_lines
from reports.actions.deliveries import unsent_proposal_mail
from reports.actions.proposals import send_proposal
from reports.documents.proposal import proposal_pdf as drawn
from reports.forms import OfficeAnswerForm, SendForm
from reports.models import Document
from reports.queries.proposal import proposal_data
from reports.tasks import send_waiting_deliveries
from reports.views.documents import pdf_response
from sites.access import OFFICE, Request, open_to, visible_or_404


def _proposal(request: Request, pk: int) -> Proposal:
    return visible_or_404(with_lines(Proposal.objects.select_related("supersedes")), request.user, pk=pk)


@open_to(*OFFICE)
def proposal_send(request: Request, pk: int) -> HttpResponse:
    """Look at exactly what goes out, then send it. What was sent has its own page."""
    proposal = _proposal(request, pk)
    if proposal.state != Proposal.State.DRAFT:
        return redirect("reports:proposal_mail", pk)
    today = firm_today()
    form = SendForm(request.POST or None, initial={"recipients": proposal.site.client.email})
    form.fields["recipients"].help_text = "One email address a line. Each gets its own link to answer."
    found = problems(proposal, today)
    if request.method == "POST" and form.is_valid():
        try:
            document = send_proposal(
                proposal=proposal,
                recipients=form.cleaned_data["recipients"],
                by=request.user,
                now=timezone.now(),
                today=today,
            )
        except ValidationError as error:
            found = error.messages
            form.add_error(None, "It was not sent: see what is missing.")
        else:
            send_waiting_deliveries.delay_on_commit()
            messages.success(
                request, f"{proposal} is sent and stays as it is. What becomes of the mail is shown below."
            )
            return redirect("reports:report_send", document.pk)
    context = {
        "proposal": proposal,
        "site": proposal.site,
        "form": form,
        "problems": found,
        "mail": unsent_proposal_mail(proposal, today=today),
    }
    return render(request, "reports/proposal_send.html", context, status=422 if form.errors else 200)


@require_safe
@open_to(*OFFICE)
def proposal_pdf(request: Request, pk: int) -> HttpResponse:
    """The draft as it would go out, marked as a draft; the document itself once it was sent."""
    proposal = _proposal(request, pk)
    if proposal.state != Proposal.State.DRAFT:
        return redirect("reports:document", _document(proposal).pk)
    pdf = drawn(proposal_data(proposal, today=firm_today()))
    return pdf_response(pdf, f"proposal-{proposal.number}-draft")


def _document(proposal: Proposal) -> Document:
    document = Document.objects.filter(proposal=proposal).first()
    if document is None:
        raise Http404
    return document


@require_safe
@open_to(*OFFICE)
def proposal_mail(request: Request, pk: int) -> HttpResponse:
    """Deliveries and links of a proposal that was sent."""
    proposal = _proposal(request, pk)
    if proposal.state == Proposal.State.DRAFT:
        return redirect("reports:proposal_send", pk)
    return redirect("reports:report_send", _document(proposal).pk)


@open_to(*OFFICE)
def proposal_answer(request: Request, pk: int) -> HttpResponse:
    """Write down an answer that came by telephone, letter or mail. It counts like one by the link, once."""
    proposal = _proposal(request, pk)
    form = OfficeAnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        words = form.cleaned_data
        try:
            said = Answer(words["choice"] == "accept", words["name"], words["note"], timezone.now(), firm_today())
            answer(proposal=proposal, said=said, by=request.user)
        except NotAnswerable as error:
            form.add_error(None, f"It cannot be answered: it is {STANDING_WORDS[error.standing]}.")
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, "The answer is kept.")
            return redirect("jobs:proposal", pk)
    context = {
        "form": form,
        "title": f"Answer to {proposal}",
        "lead": "For an answer that came by telephone, letter or mail. It is final, as one given by the link.",
        "back_url": reverse("jobs:proposal", args=[pk]),
    }
    return render(request, "form_page.html", context, status=422 if form.errors else 200)
