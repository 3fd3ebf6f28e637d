"""The part of the API about kilns and ware."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from firings.api.alarms import AlarmViewSet
from firings.api.bookings import BookingViewSet
from firings.api.cooling import FiringForecastView, KilnCoolingView
from firings.api.firing_chart import FiringChartView
from firings.api.firings import FiringViewSet
from firings.api.health import EnergyBalanceView, KilnHealthView, MeasuredConesView
from firings.api.kiln_topics import KilnTopicViewSet
from firings.api.kilns import CareViewSet, KilnKeyViewSet, KilnViewSet, PartViewSet
from firings.api.loads import LoadViewSet
from firings.api.log_summary import FiringSummaryView
from firings.api.logs import LogPreviewView, LogView
from firings.api.meter_files import MeterFileViewSet
from firings.api.readings import FiringCurveView, FiringReadingsView, KilnReadingsView
from firings.api.ware import (
    ClayViewSet,
    GlazeViewSet,
    PieceSizeViewSet,
    PolicyView,
    QueuesView,
)

router = SimpleRouter(use_regex_path=False)
router.register("kilns", KilnViewSet)
router.register("kilns/<int:kiln_pk>/parts", PartViewSet, basename="kiln-part")
router.register("kilns/<int:kiln_pk>/care", CareViewSet, basename="kiln-care")
router.register("kilns/<int:kiln_pk>/keys", KilnKeyViewSet, basename="kiln-key")
router.register("kilns/<int:kiln_pk>/meter-files", MeterFileViewSet, basename="kiln-meter-file")
router.register("kilns/<int:kiln_pk>/topics", KilnTopicViewSet, basename="kiln-topic")
router.register("clays", ClayViewSet)
router.register("glazes", GlazeViewSet)
router.register("sizes", PieceSizeViewSet)
router.register("bookings", BookingViewSet)
router.register("firings", FiringViewSet)
router.register("loads", LoadViewSet, basename="load")
router.register("alarms", AlarmViewSet)

urlpatterns = [
    path("queues/", QueuesView.as_view(), name="api_queues"),
    path("firing-policy/", PolicyView.as_view(), name="api_firing_policy"),
    path("kilns/<int:pk>/readings/", KilnReadingsView.as_view(), name="api_kiln_readings"),
    path("firings/<int:pk>/readings/", FiringReadingsView.as_view(), name="api_firing_readings"),
    path("firings/<int:pk>/log/", LogView.as_view(), name="api_firing_log"),
    path("firings/<int:pk>/log/preview/", LogPreviewView.as_view(), name="api_log_preview"),
    path("firings/<int:pk>/summary/", FiringSummaryView.as_view(), name="api_firing_summary"),
    path("firings/<int:pk>/curve/", FiringCurveView.as_view(), name="api_firing_curve"),
    path("firings/<int:pk>/chart/", FiringChartView.as_view(), name="api_firing_chart"),
    path(
        "firings/<int:pk>/cooling-forecast/",
        FiringForecastView.as_view(),
        name="api_firing_cooling_forecast",
    ),
    path(
        "firings/<int:pk>/measured-cones/",
        MeasuredConesView.as_view(),
        name="api_firing_measured_cones",
    ),
    path(
        "firings/<int:pk>/energy-balance/",
        EnergyBalanceView.as_view(),
        name="api_firing_energy_balance",
    ),
    path("kilns/<int:pk>/health/", KilnHealthView.as_view(), name="api_kiln_health"),
    path("kilns/<int:pk>/cooling/", KilnCoolingView.as_view(), name="api_kiln_cooling"),
    *router.urls,
]
