from django.urls import path, register_converter
from django.urls.converters import StringConverter

from reports.views import appointments, cards, documents, season
from sites import converters  # noqa: F401 - registers <iso_date:...>


class SheetForm(StringConverter):
    regex = "blank|completed"


register_converter(SheetForm, "sheet_form")

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
    path("appointments/", appointments.appointment_list, name="appointment_list"),
    path("appointments/tell/", appointments.tell_clients, name="appointments_tell"),
    path("appointments/mails/<int:pk>/", appointments.mail, name="appointment_mail"),
    path("your/", season.client_home, name="client_home"),
]
