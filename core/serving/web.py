"""What granian serves: Django's application behind the front that reads requests whole."""

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
django.setup(set_prefix=False)

from core.serving.front import Front  # noqa: E402  it imports views, which need Django set up
from core.wsgi import application as django_application  # noqa: E402

application = Front(django_application)
