from django.apps import AppConfig

from sites.links import offer


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        offer({"drawings": "jobs:drawings"})
