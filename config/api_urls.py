"""The REST API: one router over the endpoints of all apps, its schema, and pages that work offline."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from jobs import api as jobs_api
from reports import api as reports_api
from scheduling import api as scheduling_api
from sites.access import STAFF, OpenToRoles
from sites.api import register as register_api


class SchemaView(SpectacularAPIView):
    permission_classes = [OpenToRoles]
    open_to = {"GET": STAFF}


class DocsView(SpectacularSwaggerSplitView):
    permission_classes = [OpenToRoles]
    open_to = {"GET": STAFF}


router = SimpleRouter()
for endpoints in (register_api, scheduling_api, jobs_api, reports_api):
    for name, view in endpoints.ENDPOINTS.items():
        router.register(name, view, basename=f"api-{name}")

urlpatterns = [
    path("schema/", SchemaView.as_view(), name="api-schema"),
    path("docs/", DocsView.as_view(url_name="api-schema"), name="api-docs"),
    path("", include(router.urls)),
]
