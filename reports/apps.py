from django.apps import AppConfig

from sites.links import offer


class ReportsConfig(AppConfig):
    name = "reports"

    def ready(self) -> None:
        offer(
            {
                "appointments": "reports:appointment_list",
                "controller card": "reports:controller_card",
                "one-off run sheet": "reports:one_off_run_sheet",
                "proposal answer": "reports:proposal_answer",
                "proposal mail": "reports:proposal_mail",
                "run sheet": "reports:run_sheet",
                "send proposal": "reports:proposal_send",
                "service sheet": "reports:service_sheet",
                "wiring card": "reports:wiring_card",
                "work for billing": "reports:work",
            }
        )
