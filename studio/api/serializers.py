"""What the studio's API says and takes. Rules beyond the shape stand in the actions."""

from __future__ import annotations

from django.utils import timezone
from rest_framework import serializers

from studio.actions.edit_studio import EDITABLE
from studio.models import AccessToken, Account, Invitation, Notice, Person, Role, Studio


class AccountSerializer(serializers.ModelSerializer[Account]):
    class Meta:
        model = Account
        fields = ("number", "name", "opened_at", "closed_at")
        read_only_fields = ("number", "opened_at", "closed_at")


class PersonSerializer(serializers.ModelSerializer[Person]):
    roles = serializers.SerializerMethodField()
    account = AccountSerializer(read_only=True)

    class Meta:
        model = Person
        fields = ("id", "name", "email", "roles", "account", "is_active", "joined_at")
        read_only_fields = fields

    def get_roles(self, person: Person) -> list[str]:
        return sorted(person.roles)


class MeSerializer(PersonSerializer):
    class Meta(PersonSerializer.Meta):
        fields = (*PersonSerializer.Meta.fields, "phone", "length_unit", "temperature_unit")
        read_only_fields = fields


class OwnDetailsSerializer(serializers.ModelSerializer[Person]):
    """What a person changes about themselves."""

    class Meta:
        model = Person
        fields = ("name", "phone", "length_unit", "temperature_unit")


class RolesSerializer(serializers.Serializer[None]):
    roles = serializers.ListField(
        child=serializers.ChoiceField(choices=Role.choices), min_length=1, max_length=len(Role)
    )


class AccountOfSerializer(serializers.Serializer[None]):
    account = serializers.SlugRelatedField(
        slug_field="number",
        queryset=Account.objects.all(),
        allow_null=True,
        help_text="Number of an open account; null opens a new one in their name.",
    )


class DeactivateSerializer(serializers.Serializer[None]):
    why = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class InviteSerializer(RolesSerializer, AccountOfSerializer):
    email = serializers.EmailField(max_length=254)
    name = serializers.CharField(max_length=120)
    account = serializers.SlugRelatedField(
        slug_field="number",
        queryset=Account.objects.all(),
        allow_null=True,
        required=False,
        help_text="Number of an open account to share; left out, a new one is opened.",
    )


class InvitationSerializer(serializers.ModelSerializer[Invitation]):
    roles = serializers.ListField(child=serializers.ChoiceField(choices=Role.choices))
    account = serializers.SlugRelatedField(slug_field="number", read_only=True)
    state = serializers.SerializerMethodField()

    class Meta:
        model = Invitation
        fields = ("id", "email", "name", "roles", "account", "state", "invited_at", "expires_at")
        read_only_fields = fields

    def get_state(self, invitation: Invitation) -> str:
        return invitation.state(timezone.now())


class InvitationMadeSerializer(InvitationSerializer):
    link = serializers.URLField(help_text="Shown this once.")

    class Meta(InvitationSerializer.Meta):
        fields = (*InvitationSerializer.Meta.fields, "link")
        read_only_fields = fields


class AcceptSerializer(serializers.Serializer[None]):
    secret = serializers.CharField(max_length=200, help_text="The last part of the link.")
    name = serializers.CharField(max_length=120)
    password = serializers.CharField(max_length=200, trim_whitespace=False, write_only=True)


class StudioSerializer(serializers.ModelSerializer[Studio]):
    class Meta:
        model = Studio
        fields = EDITABLE


class NoticeSerializer(serializers.ModelSerializer[Notice]):
    class Meta:
        model = Notice
        fields = (
            "id",
            "kind",
            "channel",
            "person",
            "address",
            "state",
            "written_at",
            "due_at",
            "attempts",
            "sent_at",
            "last_error",
        )
        read_only_fields = fields


class TokenSerializer(serializers.ModelSerializer[AccessToken]):
    class Meta:
        model = AccessToken
        fields = ("id", "name", "created_at", "last_used_at", "revoked_at")
        read_only_fields = ("id", "created_at", "last_used_at", "revoked_at")


class TokenMadeSerializer(TokenSerializer):
    secret = serializers.CharField(help_text="Shown this once.")

    class Meta(TokenSerializer.Meta):
        fields = (*TokenSerializer.Meta.fields, "secret")
        read_only_fields = fields
