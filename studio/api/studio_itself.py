"""The studio's settings, its invitations, notices, and one's own tokens."""

from __future__ import annotations

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.status import HTTP_201_CREATED
from rest_framework.views import APIView

from studio.actions.access_tokens import create_access_token, revoke_access_token
from studio.actions.deliver import retry_notice
from studio.actions.edit_studio import edit_studio
from studio.actions.invitations import accept_invitation, invite_person, revoke_invitation
from studio.api.access import holds
from studio.api.received import received
from studio.api.serializers import (
    AcceptSerializer,
    InvitationMadeSerializer,
    InvitationSerializer,
    InviteSerializer,
    NoticeSerializer,
    PersonSerializer,
    StudioSerializer,
    TokenMadeSerializer,
    TokenSerializer,
)
from studio.models import AccessToken, Invitation, Notice, Role, Studio


class StudioView(APIView):
    """The studio's settings: everybody reads them, a manager edits them."""

    @extend_schema(responses=StudioSerializer, operation_id="studio_read")
    def get(self, request: Request) -> Response:
        return Response(StudioSerializer(Studio.current()).data)

    @extend_schema(request=StudioSerializer, responses=StudioSerializer, operation_id="studio_edit")
    def patch(self, request: Request) -> Response:
        sent = received(StudioSerializer, request, partial=True)
        studio = edit_studio(by=request.user, at=timezone.now(), **sent)
        return Response(StudioSerializer(studio).data)


class InvitationViewSet(viewsets.ReadOnlyModelViewSet[Invitation]):
    """Invitations, for managers."""

    queryset = Invitation.objects.select_related("account")
    serializer_class = InvitationSerializer
    permission_classes = (holds(Role.MANAGER),)

    @extend_schema(request=InviteSerializer, responses={201: InvitationMadeSerializer})
    def create(self, request: Request) -> Response:
        """Invite somebody; the answer holds the link, this once."""
        sent = received(InviteSerializer, request)
        invitation, secret = invite_person(by=request.user, at=timezone.now(), **sent)
        link = settings.PUBLIC_URL + reverse("studio:join", args=[secret])
        answer = {**InvitationSerializer(invitation).data, "link": link}
        return Response(answer, status=HTTP_201_CREATED)

    @extend_schema(request=None, responses=InvitationSerializer)
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, pk: str) -> Response:
        """Take the invitation back."""
        invitation = revoke_invitation(
            by=request.user, at=timezone.now(), invitation=self.get_object()
        )
        return Response(InvitationSerializer(invitation).data)

    @extend_schema(request=AcceptSerializer, responses={201: PersonSerializer}, auth=[])
    @action(detail=False, methods=["post"], permission_classes=[AllowAny])
    def accept(self, request: Request) -> Response:
        """Join with the secret of a link; needs no sign-in."""
        person = accept_invitation(at=timezone.now(), **received(AcceptSerializer, request))
        return Response(PersonSerializer(person).data, status=HTTP_201_CREATED)


class NoticeViewSet(viewsets.ReadOnlyModelViewSet[Notice]):
    """A manager sees the whole outbox; others what was written to them."""

    queryset = Notice.objects.all()
    serializer_class = NoticeSerializer
    permission_classes = (IsAuthenticated,)

    def get_queryset(self) -> QuerySet[Notice]:
        notices = super().get_queryset()
        if self.request.user.has_role(Role.MANAGER):
            return notices
        return notices.filter(person=self.request.user)

    @extend_schema(request=None, responses=NoticeSerializer)
    @action(detail=True, methods=["post"])
    def retry(self, request: Request, pk: str) -> Response:
        """Try a failed notice again."""
        notice = retry_notice(notice=self.get_object(), by=request.user, at=timezone.now())
        return Response(NoticeSerializer(notice).data)


class TokenViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[AccessToken]
):
    """One's own access tokens."""

    queryset = AccessToken.objects.all()
    serializer_class = TokenSerializer
    permission_classes = (IsAuthenticated,)

    def get_queryset(self) -> QuerySet[AccessToken]:
        return super().get_queryset().filter(person=self.request.user.pk)

    @extend_schema(request=TokenSerializer, responses={201: TokenMadeSerializer})
    def create(self, request: Request) -> Response:
        """Make a token; the answer holds its secret, this once."""
        sent = received(TokenSerializer, request)
        token, secret = create_access_token(by=request.user, at=timezone.now(), name=sent["name"])
        answer = {**TokenSerializer(token).data, "secret": secret}
        return Response(answer, status=HTTP_201_CREATED)

    @extend_schema(request=None, responses=TokenSerializer)
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, pk: str) -> Response:
        """End the token."""
        token = revoke_access_token(by=request.user, at=timezone.now(), token=self.get_object())
        return Response(TokenSerializer(token).data)
