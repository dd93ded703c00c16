from django.urls import path, register_converter
from django.urls.converters import StringConverter

from jobs.views import (
    calendar,
    checklists,
    days,
    drawings,
    faults,
    field,
    field_app,
    field_inbox,
    inbox,
    maps,
    plans,
    prices,
    proposals,
    season,
    service_plan,
    team,
    upsets,
    visit_plan,
    work,
)
from sites import converters  # noqa: F401 - registers <iso_date:...>


class DrawingKind(StringConverter):
    regex = "water-path|terminals"


class RouteFormat(StringConverter):
    regex = "gpx|geojson"


class DrawingShape(StringConverter):
    regex = "wide|narrow"


register_converter(DrawingKind, "drawing_kind")
register_converter(DrawingShape, "drawing_shape")
register_converter(RouteFormat, "route_format")

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
    path("visits/<int:pk>/labour-and-parts/", work.visit_work, name="visit_work"),
    path("visits/<int:pk>/labour-and-parts/billed/", work.work_billed, name="work_billed"),
    # Prices and proposals: the office's
    path("prices/", prices.price_list, name="price_list"),
    path("prices/new/", prices.price_new, name="price_new"),
    path("prices/<int:pk>/", prices.price_edit, name="price_edit"),
    path("prices/<int:pk>/delete/", prices.price_delete, name="price_delete"),
    path("proposals/", proposals.proposal_list, name="proposal_list"),
    path("sites/<int:pk>/proposals/new/", proposals.proposal_new, name="proposal_new"),
    path("proposals/<int:pk>/", proposals.proposal, name="proposal"),
    path("proposals/<int:pk>/discard/", proposals.proposal_discard, name="proposal_discard"),
    path("proposals/<int:pk>/revise/", proposals.proposal_revise, name="proposal_revise"),
    path("proposals/<int:pk>/withdraw/", proposals.proposal_withdraw, name="proposal_withdraw"),
    # The page that works without signal, and what it sends
    path("field/", field_app.shell, name="field_app"),
    path("field/worker.js", field_app.worker, name="field_worker"),
    path("field/manifest.webmanifest", field_app.manifest, name="field_manifest"),
    path("field/session", field_app.session, name="field_session"),
    path("field/bundle", field_app.bundle, name="field_bundle"),
    path("field/thumbnails/<int:pk>.jpg", field_app.thumbnail, name="field_thumbnail"),
    path("field/records/<uuid:uuid>", field_inbox.record, name="field_record"),
    path("field/photos/<uuid:uuid>", field_inbox.photo, name="field_photo"),
    path("inbox/", inbox.inbox, name="inbox"),
    path("inbox/import/", inbox.inbox_import, name="inbox_import"),
    path("inbox/visits/<int:pk>/apply/", inbox.inbox_apply_visit, name="inbox_apply_visit"),
    path("inbox/<int:pk>/decide/", inbox.inbox_decide, name="inbox_decide"),
    path("sites/<int:pk>/drawings/", drawings.drawings, name="drawings"),
    path(
        "controllers/<int:pk>/<drawing_kind:kind>-<drawing_shape:shape>.svg",
        drawings.plant_drawing,
        name="plant_drawing",
    ),
    # Planning: the office's boards
    path("sites/<int:pk>/service-plan/", service_plan.service_plan, name="service_plan"),
    path("season/", season.board, name="season_board"),
    path("season/<int:year>/generate/", season.generate, name="season_generate"),
    path("season/<int:year>/plan/", season.plan, name="season_plan"),
    path("season/<int:year>/windows/<str:kind>/", season.window_edit, name="season_window"),
    path("season/<int:year>/map.svg", maps.season_svg, name="season_map"),
    path("season/<int:year>/places.geojson", maps.season_places, name="season_places"),
    path("season/plans/", plans.plan_comparison, name="plan_comparison"),
    path("season/plans/<int:pk>/decide/", plans.plan_decide, name="plan_decide"),
    path("season/plans/<int:pk>/stop/", season.plan_stop, name="season_plan_stop"),
    path("days/", days.board, name="day_board"),
    path("days/<iso_date:date>/order/", days.order, name="day_order_all"),
    path("days/<iso_date:date>/<int:technician>/order/", days.order, name="day_order"),
    path("days/<iso_date:date>/<int:technician>/arrange/", days.arrange, name="day_arrange"),
    path("days/<iso_date:date>/<int:technician>/map.svg", days.day_map_svg, name="day_map"),
    path(
        "days/<iso_date:date>/<int:technician>/route.<route_format:form>",
        calendar.route_download,
        name="route_download",
    ),
    path("upsets/", upsets.upset_list, name="upset_list"),
    path("upsets/new/<slug:kind>/", upsets.upset_new, name="upset_new"),
    path("upsets/<int:pk>/", upsets.upset, name="upset"),
    path("upsets/<int:pk>/decide/", upsets.upset_decide, name="upset_decide"),
    path("visits/new/", visit_plan.visit_new, name="visit_new"),
    path("visits/<int:pk>/plan/", visit_plan.visit_plan, name="visit_plan"),
    path("visits/<int:pk>/plan/move/", days.stop_move, name="day_move"),
    path("visits/<int:pk>/plan/day/", days.stop_assign, name="day_assign"),
    path("visits/<int:pk>/plan/unassign/", visit_plan.visit_unassign, name="visit_unassign"),
    path("visits/<int:pk>/plan/follow/", visit_plan.visit_follow, name="visit_follow"),
    path("visits/<int:pk>/plan/promise/", visit_plan.visit_promise, name="visit_promise"),
    path("visits/<int:pk>/plan/cancel/", visit_plan.visit_cancel, name="visit_cancel"),
    path("checklists/", checklists.checklist_list, name="checklist_list"),
    path("checklists/<slug:kind>/", checklists.checklist_edit, name="checklist_edit"),
    path("team/", team.technician_list, name="technician_list"),
    path("team/skills/new/", team.skill_new, name="skill_new"),
    path("team/skills/<int:pk>/", team.skill_edit, name="skill_edit"),
    path("team/skills/<int:pk>/delete/", team.skill_delete, name="skill_delete"),
    path("team/closed/new/", team.closed_days_new, name="closed_days_new"),
    path("team/closed/<int:pk>/", team.closed_days_edit, name="closed_days_edit"),
    path("team/closed/<int:pk>/delete/", team.closed_days_delete, name="closed_days_delete"),
    path("team/<int:pk>/", team.technician_edit, name="technician_edit"),
    path("team/<int:pk>/calendar/", calendar.feed_page, name="calendar"),
    path("calendar/<str:token>.ics", calendar.feed, name="calendar_feed"),
    path("team/<int:pk>/absences/new/", team.absence_new, name="absence_new"),
    path("team/<int:pk>/absences/<int:absence_pk>/delete/", team.absence_delete, name="absence_delete"),
]
