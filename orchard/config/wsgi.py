"""What a web server such as gunicorn loads."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from orchard.config import database

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")

database.one_farm_at_a_time(settings.DATABASES)
application = get_wsgi_application()
