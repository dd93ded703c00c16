"""The Celery app and its timetable. Tasks are only nudges: each one finds its work in the database."""

import os

from celery import Celery
from celery.schedules import crontab

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("rillbook", task_cls="sites.tasks:FirmTask")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.conf.broker_transport_options = {
    "visibility_timeout": 3600,
    # Sweep for messages of a killed worker every 5 s, not every 100 s.
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
}
app.conf.beat_schedule = {
    "compute schedules every night": {
        "task": "scheduling.tasks.compute_all_schedules",
        "schedule": crontab(hour=9, minute=30),  # UTC: after midnight in the firm's part of the world
    },
    "apply records of phones left waiting": {"task": "jobs.tasks.apply_waiting_records", "schedule": 300.0},
    "take up season plans left waiting": {"task": "jobs.tasks.sweep_season_plans", "schedule": 120.0},
    "send waiting deliveries": {"task": "reports.tasks.send_waiting_deliveries", "schedule": 60.0},
    "make bulk jobs and heal lost ones": {"task": "reports.tasks.work_bulk_jobs", "schedule": 60.0},
    "tell clients of appointments": {"task": "reports.tasks.tell_clients", "schedule": 60.0},
    # UTC: morning to afternoon in the firm's part of the world; later runs catch visits planned during the day.
    "remind clients of tomorrow": {
        "task": "reports.tasks.send_reminders",
        "schedule": crontab(hour="16-23", minute=5),
    },
}
