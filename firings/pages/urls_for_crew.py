"""The addresses of the pages for crew."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
