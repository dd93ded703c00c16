# Loaded with Django so that `shared_task` finds the app.
from config.celery import app as celery_app

__all__ = ["celery_app"]
