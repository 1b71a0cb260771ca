"""The bench for a WSGI server: run ``bittern setup`` first, and after each new version."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bittern.bench.settings")

application = get_wsgi_application()
