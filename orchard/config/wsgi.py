"""What a web server such as gunicorn loads."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")

application = get_wsgi_application()
