"""Make documents and keep them: a PDF as made is never rewritten, a correction is the next version."""

import hashlib
from dataclasses import asdict

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from jobs.models import Proposal, Visit
from reports.documents.proposal import proposal_pdf
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import service_sheet_pdf
from reports.models import Document
from reports.queries.proposal import proposal_data
from reports.queries.season_report import season_report_data
from reports.queries.service_sheet import service_sheet_data
from sites.actions.audit import record
from sites.models import Site, User


def make_season_report(*, site: Site, season_year: int, by: User | None) -> Document:
    """The season report of a site as a kept document; the newest version itself where nothing changed since."""
    newest = _versions(Document(kind=Document.Kind.SEASON_REPORT, site=site, season_year=season_year)).first()
    today = timezone.localdate()
    if newest is not None:
        # The day it was prepared stands on the report: only a change beside that day makes a new version.
        then = season_report_data(site, season_year=season_year, prepared_on=timezone.localdate(newest.made_at))
        if _digest(season_report_pdf(then)) == newest.sha256:
            return newest
    report = season_report_data(site, season_year=season_year, prepared_on=today)
    document = Document(
        kind=Document.Kind.SEASON_REPORT,
        site=site,
        season_year=season_year,
        title=f"Season report {season_year}, {site.name}",
        content=asdict(report),
    )
    return _keep(document, season_report_pdf(report), by)


def make_service_sheet(*, visit: Visit, by: User | None) -> Document:
    """The completed sheet of a finished visit as a kept document."""
    document = Document(
        kind=Document.Kind.SERVICE_SHEET,
        site=visit.site,
        season_year=visit.season_year,
        title=f"Service sheet, {visit.get_kind_display()} {visit.season_year}, {visit.site.name}",
        visit=visit,
    )
    return _keep(document, service_sheet_pdf(service_sheet_data(visit, completed=True)), by)


def make_proposal(*, proposal: Proposal, by: User | None) -> Document:
    """A sent proposal as a kept document: one, for what was sent never changes."""
    today = timezone.localdate(proposal.sent_at)
    data = proposal_data(proposal, today=today)
    document = Document(
        kind=Document.Kind.PROPOSAL,
        site=proposal.site,
        season_year=today.year,
        title=f"{proposal}, {proposal.site.name}",
        proposal=proposal,
        content=asdict(data),
    )
    return _keep(document, proposal_pdf(data), by)


def _keep(document: Document, pdf: bytes, by: User | None) -> Document:
    """Store `pdf` as the next version of an unsaved document, unless the newest version has the same bytes."""
    digest = _digest(pdf)
    with transaction.atomic():
        # Two people pressing the button together queue here and make one version, not two.
        Site.objects.select_for_update().get(pk=document.site_id)
        newest = _versions(document).first()
        if newest is not None and newest.sha256 == digest:
            return newest
        document.version = newest.version + 1 if newest else 1
        document.sha256, document.made_by = digest, by
        document.pdf.save(f"{document.uuid}.pdf", ContentFile(pdf), save=False)
        document.save()
        record(by=by, verb="made", subject=document, sha256=digest, version=document.version)
    return document


def _versions(like: Document) -> QuerySet[Document]:
    """All versions of one document, newest first."""
    same = {name: getattr(like, name) for name in ("kind", "site", "season_year", "visit", "proposal")}
    return Document.objects.filter(**same).order_by("-version")


def _digest(pdf: bytes) -> str:
    return hashlib.sha256(pdf).hexdigest()
