"""`{% term_of field.label as term %}`: the glossary's term for a form field, where there is one."""

from django import template

from config.glossary import Term, term_of

register = template.Library()


@register.simple_tag(name="term_of")
def term_of_label(label: str) -> Term | None:
    return term_of(label)
