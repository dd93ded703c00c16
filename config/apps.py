from django.apps import AppConfig


class ConfigApp(AppConfig):
    """Settings, urls, base templates, and the commands that reach into every app (demo, bench)."""

    name = "config"
