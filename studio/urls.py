"""Every address of the house, by app. The order matters only for readers."""

from csp.constants import SELF, UNSAFE_INLINE
from csp.decorators import csp_update
from django.urls import include, path
from django.views.generic import RedirectView
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

# Its library draws with inline styles; scripts stay ours alone.
_with_inline_styles = csp_update({"style-src": [SELF, UNSAFE_INLINE]})
api_page = _with_inline_styles(SpectacularSwaggerSplitView.as_view(url_name="schema"))

urlpatterns = [
    # A person has one address, the one the manager invited; the library's list of more is not ours.
    path("entry/email/", RedirectView.as_view(pattern_name="studio:my_details")),
    path("entry/", include("allauth.account.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/", api_page, name="api"),
    path("api/v1/", include("studio.api.urls")),
    path("api/v1/", include("firings.api.urls")),
    path("api/v1/", include("billing.api.urls")),
    path("", include("studio.pages.urls")),
    path("", include("firings.pages.urls")),
    path("", include("billing.pages.urls")),
]

handler400 = "studio.pages.errors.bad_request"
