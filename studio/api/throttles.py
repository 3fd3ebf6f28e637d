"""How often a program may ask. Guessing tokens needs no limit: they are too long to guess."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView


class TokenThrottle(SimpleRateThrottle):
    """Counts by token, so that one busy logger does not silence the one beside it."""

    scope = "kiln_token"

    def get_cache_key(self, request: Request, view: APIView) -> str:
        token = getattr(request.auth, "pk", None)
        ident = f"token-{token}" if token is not None else self.get_ident(request)
        return self.cache_format % {"scope": self.scope, "ident": ident}
