"""What granian serves: Django's application behind the front that reads requests whole."""

import os

import django
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
django.setup(set_prefix=False)

from core.serving.pool import pooled  # noqa: E402  it reads the settings

# Before anybody has connected: each thread's connection is made from these settings.
settings.DATABASES["default"].update(pooled(settings.DATABASES["default"]))

from core.serving.front import Front  # noqa: E402  it imports views, which need Django set up
from core.wsgi import application as django_application  # noqa: E402

application = Front(django_application)
