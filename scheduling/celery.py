"""The Celery app of the workers and of the timer: `celery -A scheduling.celery worker`.

How it runs stands in the settings under CELERY_. The jobs are named here, since Celery by itself looks for
modules called `tasks`, and ours are crew work.
"""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")

app = Celery("scheduling", include=["scheduling.jobs", "scheduling.ears"])
app.config_from_object("django.conf:settings", namespace="CELERY")
