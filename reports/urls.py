from django.urls import path, register_converter
from django.urls.converters import StringConverter

from reports.views import appointments, bulk, cards, documents, fleet, mail_hooks, proposals, season, shared, work
from sites import converters  # noqa: F401 - registers <iso_date:...>


class SheetForm(StringConverter):
    regex = "blank|completed"


class FleetForm(StringConverter):
    regex = "pdf|xlsx|csv"


register_converter(SheetForm, "sheet_form")


class WorkForm(StringConverter):
    regex = "xlsx|csv"


register_converter(FleetForm, "fleet_form")
register_converter(WorkForm, "work_form")

app_name = "reports"
urlpatterns = [
    path("reports/", season.report_list, name="report_list"),
    path("sites/<int:pk>/reports/", season.site_reports, name="site_reports"),
    path("sites/<int:pk>/reports/make/", season.report_make, name="report_make"),
    path("reports/<int:pk>/send/", season.report_send, name="report_send"),
    path("reports/<int:pk>.pdf", documents.document, name="document"),
    path("deliveries/<int:pk>/decide/", season.delivery_decide, name="delivery_decide"),
    path("visits/<int:pk>/sheet-<sheet_form:form>.pdf", documents.service_sheet, name="service_sheet"),
    path("technicians/<int:technician>/run-sheet-<iso_date:date>.pdf", documents.run_sheet, name="run_sheet"),
    path("controllers/<int:pk>/card.pdf", cards.controller_card, name="controller_card"),
    path("controllers/<int:pk>/wiring.pdf", cards.wiring_card, name="wiring_card"),
    path("controllers/<int:pk>/one-off-run.pdf", cards.one_off_run_sheet, name="one_off_run_sheet"),
    path("appointments/", appointments.appointment_list, name="appointment_list"),
    path("appointments/tell/", appointments.tell_clients, name="appointments_tell"),
    path("appointments/<int:pk>/called/", appointments.client_called, name="client_called"),
    path("appointments/mails/<int:pk>/", appointments.mail, name="appointment_mail"),
    path("proposals/<int:pk>/send/", proposals.proposal_send, name="proposal_send"),
    path("proposals/<int:pk>/draft.pdf", proposals.proposal_pdf, name="proposal_pdf"),
    path("proposals/<int:pk>/mail/", proposals.proposal_mail, name="proposal_mail"),
    path("proposals/<int:pk>/answer/", proposals.proposal_answer, name="proposal_answer"),
    path("billing/", work.work, name="work"),
    path("billing/<work_form:form>/", work.work_file, name="work_file"),
    path("your/", season.client_home, name="client_home"),
    path("reports/<int:pk>/test/", season.report_test, name="report_test"),
    path("reports/<int:pk>/links/make/", season.link_make, name="link_make"),
    path("links/<int:pk>/revoke/", season.link_revoke, name="link_revoke"),
    path("reports/send-all/", bulk.send_all, name="send_all"),
    path("reports/many/", bulk.bulk_list, name="bulk_list"),
    path("reports/many/<int:pk>/", bulk.bulk_page, name="bulk"),
    path("reports/many/<int:pk>/change/", bulk.bulk_change, name="bulk_change"),
    path("reports/many/<int:pk>/file/", bulk.bulk_file, name="bulk_file"),
    path("reports/season-figures/", fleet.fleet, name="fleet"),
    path("reports/season-figures/<fleet_form:form>/", fleet.fleet_file, name="fleet_file"),
    # Open to strangers: closed by a token in the address, a signature or the cookie the token was swapped for.
    path("r/<str:token>/", shared.shared_enter, name="shared_enter"),
    path("shared/<uuid:uuid>/", shared.shared, name="shared"),
    path("shared/<uuid:uuid>/report.pdf", shared.shared_pdf, name="shared_pdf"),
    path("shared/<uuid:uuid>/answer/", shared.shared_answer, name="shared_answer"),
    path("reminders/stop/<str:token>/", mail_hooks.unsubscribe, name="unsubscribe"),
    path("hooks/bounces/", mail_hooks.bounces, name="bounces"),
]
