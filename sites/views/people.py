"""Accounts, the own password, and the firm's settings."""

from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import PasswordChangeView
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse, reverse_lazy

from sites.access import EVERYONE, OFFICE, Request, open_to, visible_or_404
from sites.actions.people import may_manage, save_person
from sites.answers import answer_form, page_of, search_text, typed, whole_number
from sites.forms.people import FirmForm, PersonForm
from sites.models import Firm, Role, User
from sites.queries.lists import people_rows


@open_to(*OFFICE)
def person_list(request: Request) -> HttpResponse:
    text = search_text(request)
    clients = request.GET.get("of") == "clients"
    page = page_of(request, people_rows(user=request.user, text=text, clients=clients))
    return render(request, "sites/person_list.html", {"page": page, "text": text, "clients": clients})


@open_to(*OFFICE)
def person_new(request: Request) -> HttpResponse:
    wanted = whole_number(request.GET.get("client"))
    initial = {"role": Role.CLIENT, "client": wanted} if wanted else {"role": Role.TECHNICIAN}
    form = PersonForm(**typed(request), by=request.user, initial=initial)
    return _answer(request, form, title="New account")


@open_to(*OFFICE)
def person_edit(request: Request, pk: int) -> HttpResponse:
    person = visible_or_404(User.objects.all(), request.user, pk=pk)
    if not may_manage(by=request.user, role=person.role):
        raise PermissionDenied
    return _answer(request, PersonForm(**typed(request), by=request.user, instance=person), title=f"Edit {person}")


def _answer(request: Request, form: PersonForm, *, title: str) -> HttpResponse:
    def write() -> None:
        save_person(person=form.instance, password=form.cleaned_data["password"], by=request.user)

    people = reverse("sites:person_list")
    return answer_form(request, form, title=title, back_url=people, done_url=people, write=write)


@open_to(*OFFICE)
def firm_edit(request: Request) -> HttpResponse:
    # A row of its own: the remembered one gives this very page its name and units while the form is wrong.
    form = FirmForm(**typed(request), instance=Firm.objects.order_by("pk").first() or Firm(name=""))
    here = reverse("sites:firm_edit")
    return answer_form(request, form, title="Firm", back_url="", done_url=here, template="sites/firm_edit.html")


class OwnPasswordView(PasswordChangeView):
    template_name = "form_page.html"
    success_url = reverse_lazy("home")
    extra_context = {"title": "Change your password"}

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        messages.success(self.request, "Your password is changed.")
        return super().form_valid(form)

    def form_invalid(self, form: PasswordChangeForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


own_password = open_to(*EVERYONE)(OwnPasswordView.as_view())
