from django.urls import path

from jobs.views import faults, field

app_name = "jobs"
urlpatterns = [
    # The technician's pages and what comes of them
    path("today/", field.today, name="today"),
    path("visits/<int:pk>/", field.visit, name="visit"),
    path("visits/<int:pk>/start/", field.visit_start, name="visit_start"),
    path("visits/<int:pk>/checklist/<int:item_pk>/", field.visit_checklist, name="visit_checklist"),
    path("visits/<int:pk>/valves/<int:valve_pk>/", field.visit_valve, name="visit_valve"),
    path("visits/<int:pk>/faults/new/", faults.visit_fault_new, name="visit_fault_new"),
    path("visits/<int:pk>/finish/", field.visit_finish, name="visit_finish"),
    path("faults/", faults.fault_list, name="fault_list"),
    path("faults/<int:pk>/", faults.fault, name="fault"),
    path("faults/<int:pk>/repair/", faults.fault_repair, name="fault_repair"),
    path("faults/<int:pk>/photos/", faults.fault_photos, name="fault_photos"),
    path("sites/<int:pk>/visits/", faults.site_visits, name="site_visits"),
]
