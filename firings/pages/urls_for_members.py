"""The addresses of the pages for members."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
