"""A site's state set by hand."""

import datetime as dt

from django import forms

from sites.forms.base import RegisterForm
from sites.models import StateChange
from sites.queries.site_page import local_today


class StateChangeForm(RegisterForm):
    parent = "site"

    class Meta:
        model = StateChange
        fields = ["state", "changed_on", "reason"]
        help_texts = {"reason": "Who said so, or what was done. Clients do not see it."}

    def clean_changed_on(self) -> dt.date:
        changed_on = self.cleaned_data["changed_on"]
        if changed_on > local_today(self.instance.site):
            raise forms.ValidationError("This day has not come yet.")
        return changed_on
