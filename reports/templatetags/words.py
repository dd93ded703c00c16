from django import template

from reports.documents.words import Language

register = template.Library()


@register.simple_tag
def say(words: Language, key: str, **values: object) -> str:
    """The catalogue's words in the language of the document shown."""
    return words.say(key, **values)
