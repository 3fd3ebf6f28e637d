from types import SimpleNamespace

import pytest
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory, force_authenticate
from rest_framework.views import APIView

from studio.api.throttles import TokenThrottle


class ThreeAMinute(TokenThrottle):
    rate = "3/min"


class Readings(APIView):
    throttle_classes = (ThreeAMinute,)
    permission_classes = ()

    def post(self, request):
        return Response({})


@pytest.fixture
def send():
    def send_with(token_pk: int) -> Response:
        request = APIRequestFactory().post("/api/v1/readings/", {})
        force_authenticate(request, user=None, token=SimpleNamespace(pk=token_pk))
        return Readings.as_view()(request)

    return send_with


def test_each_token_has_its_own_count(send):
    assert [send(1).status_code for _ in range(4)] == [200, 200, 200, 429]
    assert send(2).status_code == 200


def test_a_busy_token_learns_how_long_to_wait(send):
    *_, last = (send(1) for _ in range(4))
    assert last.data["code"] == "throttled"
    assert 0 < last.data["facts"]["wait_s"] <= 60
