"""The WSGI application, for `manage.py serve` and for any other WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

from studio.work.serving import die_with_served_parent

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

# Runs in each process that the web server starts.
die_with_served_parent()

application = get_wsgi_application()
