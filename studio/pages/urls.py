"""The studio's own pages."""

from django.urls import path

from studio.pages import home, people_urls, style_page

app_name = "studio"

urlpatterns = [
    path("", home.home, name="home"),
    path("style/", style_page.style, name="style"),
    *people_urls.urlpatterns,
]
