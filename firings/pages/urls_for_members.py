"""The addresses of the pages for members."""

from django.urls import path

from firings.pages import booking_coming, booking_pages, booking_ware, slip_pages

urlpatterns = [
    path("book/", booking_pages.book, name="book"),
    path("ware/", booking_ware.my_ware, name="my_ware"),
    path("ware/slips/", slip_pages.slips, name="slips"),
    path("ware/<slug:slip>/", booking_ware.booking_page, name="booking"),
    path("ware/<slug:slip>/withdraw/", booking_pages.withdraw, name="withdraw"),
    path("ware/<slug:slip>/collect/", booking_pages.collect, name="collect"),
    path("ware/<slug:slip>/slip/", slip_pages.slip, name="slip"),
    path("s/<str:code>/", slip_pages.short_slip, name="short_slip"),
    path("coming/", booking_coming.coming, name="coming"),
    path("coming/<int:pk>/", booking_coming.firing_seen, name="firing_seen"),
]
