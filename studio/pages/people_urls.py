"""Addresses of the pages about people, the studio and its mail."""

from django.urls import path

from studio.pages import (
    accounts,
    invitations,
    join,
    mailbox,
    my_details,
    notices,
    people,
    studio_settings,
    trail,
)

urlpatterns = [
    path("join/<str:secret>/", join.join, name="join"),
    path("people/", people.people, name="people"),
    path("people/invite/", invitations.invite, name="invite"),
    path("people/invitations/<int:pk>/revoke/", invitations.revoke, name="revoke_invitation"),
    path("people/accounts/", accounts.accounts, name="accounts"),
    path("people/accounts/<int:number>/", accounts.account, name="account"),
    path("people/accounts/<int:number>/rename/", accounts.rename, name="rename_account"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/roles/", people.roles, name="person_roles"),
    path("people/<int:pk>/account/", people.account_of, name="person_account"),
    path("people/<int:pk>/deactivate/", people.deactivate, name="deactivate_person"),
    path("people/<int:pk>/reactivate/", people.reactivate, name="reactivate_person"),
    path("me/", my_details.my_details, name="my_details"),
    path("me/tokens/new/", my_details.new_token, name="new_token"),
    path("me/tokens/<int:pk>/revoke/", my_details.revoke_token, name="revoke_token"),
    path("settings/", studio_settings.settings, name="settings"),
    path("notices/", notices.notices, name="notices"),
    path("notices/<int:pk>/retry/", notices.retry, name="retry_notice"),
    path("mail/", mailbox.mailbox, name="mailbox"),
    path("mail/<int:pk>/", mailbox.mail, name="mail"),
    path("trail/", trail.trail, name="trail"),
]
