from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.urls import include, path

from config import views
from sites.access import EVERYONE, open_to
from sites.forms.sign_in import SignInForm

urlpatterns = [
    path("", views.home, name="home"),
    path("glossary/", views.glossary, name="glossary"),
    path("healthz", views.healthz, name="healthz"),
    path("readyz", views.readyz, name="readyz"),
    path(
        "sign-in/",
        auth_views.LoginView.as_view(template_name="sign_in.html", authentication_form=SignInForm),
        name="login",
    ),
    path("sign-out/", open_to(*EVERYONE)(auth_views.LogoutView.as_view()), name="logout"),
    path("admin/", admin.site.urls),
    path("api/", include("config.api_urls")),
    path("", include("sites.urls")),
    path("", include("scheduling.urls")),
    path("", include("jobs.urls")),
    path("", include("reports.urls")),
]
