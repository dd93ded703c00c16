from django.forms.renderers import TemplatesSetting


class RillbookRenderer(TemplatesSetting):
    """Renders a field as label, help, control and error through our own `forms/field.html`."""

    field_template_name = "forms/field.html"
