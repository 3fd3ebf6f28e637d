import pytest
from django.http import Http404
from rest_framework import exceptions, serializers

from studio.api.errors import answer
from studio.refusals import Denied, Refusal


def test_a_refusal_keeps_its_code_status_field_and_facts():
    refusal = Refusal("piece_too_tall", "The vase is too tall.", field="height_mm", limit_mm=380)
    response = answer(refusal, {})
    assert response.status_code == 409
    assert response.data == {
        "code": "piece_too_tall",
        "message": "The vase is too tall.",
        "fields": {"height_mm": ["The vase is too tall."]},
        "facts": {"limit_mm": 380},
    }


@pytest.mark.parametrize(
    ("fault", "status", "code"),
    [
        (Denied("not_crew", "Only crew may do this."), 403, "not_crew"),
        (Refusal("gone", "It is gone.", status=410), 410, "gone"),
        (exceptions.NotAuthenticated(), 401, "not_authenticated"),
        (exceptions.PermissionDenied(), 403, "permission_denied"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed"),
        (Http404(), 404, "not_found"),
        (exceptions.ParseError(), 400, "parse_error"),
    ],
)
def test_every_error_has_the_same_shape(fault, status, code):
    response = answer(fault, {})
    assert response.status_code == status
    assert set(response.data) == {"code", "message", "fields", "facts"}
    assert response.data["code"] == code
    assert response.data["message"]


def test_a_bad_field_is_named():
    class Piece(serializers.Serializer):
        height_mm = serializers.IntegerField(min_value=1)

    piece = Piece(data={"height_mm": -3})
    assert not piece.is_valid()
    response = answer(exceptions.ValidationError(piece.errors), {})
    assert response.status_code == 400
    assert response.data["code"] == "invalid"
    assert response.data["message"] == "Please correct: height_mm."
    assert list(response.data["fields"]) == ["height_mm"]


def test_a_throttled_client_learns_how_long_to_wait():
    response = answer(exceptions.Throttled(wait=7), {})
    assert response.status_code == 429
    assert response.data["facts"] == {"wait_s": 7}


def test_a_crash_is_not_dressed_as_an_answer():
    assert answer(RuntimeError("crash"), {}) is None
