import pytest
from django.conf import settings
from django.test import RequestFactory

from studio.pages.upload_limit import UploadLimitMiddleware


class Unreadable:
    """A body that must not be touched."""

    def read(self, *_: object) -> bytes:
        raise AssertionError("the body was read")


def answer_to(path: str, length: str):
    """The view behind the middleware returns None, so an answer comes from the limit alone."""
    request = RequestFactory().post(path)
    request.META["CONTENT_LENGTH"] = length
    request.META["wsgi.input"] = Unreadable()
    return UploadLimitMiddleware(lambda _: None)(request)


@pytest.mark.parametrize("length", ["", "0", "nonsense", str(settings.UPLOAD_BYTES_MAX)])
def test_what_fits_goes_on(length):
    assert answer_to("/firings/", length) is None


def test_a_page_says_what_to_do():
    response = answer_to("/firings/", str(settings.UPLOAD_BYTES_MAX + 1))
    assert response.status_code == 413
    assert b"This upload is larger than 25 MB. Split the file" in response.content


def test_the_api_says_it_in_json(client):
    response = client.post("/api/v1/anything", b"x" * (50 * 1024 * 1024), content_type="text/csv")
    assert response.status_code == 413
    assert response.json()["code"] == "upload_too_big"
