"""The pages of kilns and ware, by who they are for."""

from firings.pages import urls_for_crew, urls_for_managers, urls_for_members

app_name = "firings"
urlpatterns = [
    *urls_for_members.urlpatterns,
    *urls_for_crew.urlpatterns,
    *urls_for_managers.urlpatterns,
]
