"""The studio's part of the API."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from studio.api.people import AccountViewSet, MeView, PersonViewSet
from studio.api.studio_itself import (
    InvitationViewSet,
    NoticeViewSet,
    StudioView,
    TokenViewSet,
)

router = SimpleRouter(use_regex_path=False)
router.register("people", PersonViewSet)
router.register("accounts", AccountViewSet)
router.register("invitations", InvitationViewSet)
router.register("notices", NoticeViewSet)
router.register("tokens", TokenViewSet)

urlpatterns = [
    path("me/", MeView.as_view(), name="api_me"),
    path("studio/", StudioView.as_view(), name="api_studio"),
    *router.urls,
]
