"""The product's site with one more address: a bare view with one query, for comparison only."""

import os

os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"

from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse
from django.urls import path

application = get_wsgi_application()

from studio import urls
from studio.models import Studio


def bare(_request: HttpRequest) -> HttpResponse:
    """What Django itself costs behind our middleware: one row read, one line written."""
    return HttpResponse(Studio.objects.values_list("name", flat=True).get(pk=1))


urls.urlpatterns.insert(0, path("bare/", bare))
