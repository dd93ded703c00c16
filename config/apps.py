from django.apps import AppConfig


class HallConfig(AppConfig):
    """The hall: settings, urls, base templates, and the commands that touch every floor (demo, bench)."""

    name = "config"
    label = "hall"
