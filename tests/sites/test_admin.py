import pytest
from django.apps import apps
from django.contrib import admin
from django.urls import reverse

from tests import factories

APPS = ("sites", "scheduling", "jobs", "reports")
MODELS = [model for app in APPS for model in apps.get_app_config(app).get_models()]


@pytest.fixture
def superuser(firm):
    return factories.UserFactory(role="owner", is_superuser=True, is_staff=True)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_every_table_has_a_list_that_opens_and_searches(client, superuser, site, model):
    assert admin.site.is_registered(model)
    client.force_login(superuser)
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}_changelist"
    query = {"q": "hazel"} if admin.site.get_model_admin(model).search_fields else {}
    assert client.get(reverse(name), query).status_code == 200


@pytest.mark.parametrize("role", ["owner", "office", "technician", "client"])
def test_no_role_alone_enters_the_admin(client, firm, role):
    client.force_login(factories.UserFactory(role=role, is_staff=True))
    assert client.get(reverse("admin:index")).status_code == 403
    assert client.get(reverse("admin:sites_site_changelist")).status_code == 403


def test_the_audit_cannot_be_edited(client, superuser):
    client.force_login(superuser)
    assert client.get(reverse("admin:sites_auditentry_add")).status_code == 403
