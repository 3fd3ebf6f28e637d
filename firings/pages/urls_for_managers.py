"""The addresses of the pages for managers."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
