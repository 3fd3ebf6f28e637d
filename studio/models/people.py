"""Who lives here: people, the roles they hold and the billing accounts they share."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.crypto import salted_hmac

from studio.models.tokens import Token

LENGTH_UNITS = [("cm", "centimetres"), ("in", "inches")]
TEMPERATURE_UNITS = [("C", "°C"), ("F", "°F")]


class Role(models.TextChoices):
    MEMBER = "member", "Member"
    CREW = "crew", "Kiln crew"
    MANAGER = "manager", "Studio manager"
    TREASURER = "treasurer", "Treasurer"


class AccountQuerySet(models.QuerySet["Account"]):
    def seen_by(self, person: Person) -> AccountQuerySet:
        """All for those who keep the books or the list of people; their own for others."""
        if person.has_role(Role.MANAGER, Role.TREASURER):
            return self
        return self.filter(pk=person.account_id)


class Account(models.Model):
    """A billing account: what one member, a household or a class is charged on."""

    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=120)
    opened_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = AccountQuerySet.as_manager()

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class PersonQuerySet(models.QuerySet["Person"]):
    def active(self) -> PersonQuerySet:
        return self.filter(is_active=True)

    def holding(self, *roles: Role) -> PersonQuerySet:
        return self.filter(role_holdings__role__in=roles).distinct()

    def seen_by(self, person: Person) -> PersonQuerySet:
        """All for a manager or treasurer; others see themselves and who shares their account."""
        if person.has_role(Role.MANAGER, Role.TREASURER):
            return self
        shares = models.Q(account__isnull=False, account=person.account_id)
        return self.filter(models.Q(pk=person.pk) | shares)

    def matching(self, words: str) -> PersonQuerySet:
        """Whose name, address or account contains `words`."""
        in_account = models.Q(account__name__icontains=words)
        if words.isdecimal():
            in_account |= models.Q(account__number=int(words[:9]))
        return self.filter(
            models.Q(name__icontains=words) | models.Q(email__icontains=words) | in_account
        )


class PersonManager(BaseUserManager.from_queryset(PersonQuerySet)):  # type: ignore[misc]
    def create_user(self, email: str, password: str | None = None, **fields: object) -> Person:
        person = self.model(email=self.normalize_email(email), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, password: str | None = None, **fields: object) -> Person:
        return self.create_user(email, password, is_superuser=True, **fields)

    def get_by_natural_key(self, username: str | None) -> Person:
        return self.get(email__iexact=username)


class Person(AbstractBaseUser, PermissionsMixin):
    """A person who signs in, with an e-mail address as the name."""

    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=120)
    account = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.PROTECT, related_name="people"
    )
    phone = models.CharField(max_length=40, blank=True)
    length_unit = models.CharField(max_length=2, blank=True, choices=LENGTH_UNITS)
    temperature_unit = models.CharField(max_length=1, blank=True, choices=TEMPERATURE_UNITS)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now)
    # part of every session's hash: raising it ends all sessions of this person
    session_round = models.PositiveIntegerField(default=0)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    objects = PersonManager()

    class Meta:
        ordering = ["name", "pk"]
        verbose_name_plural = "people"
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                name="one_person_per_email",
                violation_error_message="Somebody with this e-mail address is here already.",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_staff(self) -> bool:
        return self.is_superuser

    @property
    def roles(self) -> frozenset[Role]:
        """The roles held, read once for each loaded person."""
        if not hasattr(self, "_roles"):
            self._roles = frozenset(Role(held.role) for held in self.role_holdings.all())
        return self._roles

    def has_role(self, *roles: Role) -> bool:
        """Whether this person is active and holds any of `roles`."""
        return self.is_active and bool(self.roles & set(roles))

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """Django's hash of the password, together with the round of sessions."""
        value = f"{self.password}:{self.session_round}"
        salt = "studio.models.people.session"
        return salted_hmac(salt, value, secret=secret, algorithm="sha256").hexdigest()

    def forget_roles(self) -> None:
        """Read the roles again next time: called by the action that changes them."""
        self.__dict__.pop("_roles", None)


class RoleHolding(models.Model):
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="role_holdings")
    role = models.CharField(max_length=12, choices=Role)
    granted_at = models.DateTimeField(default=timezone.now)
    granted_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "role"], name="each_role_held_once"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="role_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_role_display()}"


class InvitationQuerySet(models.QuerySet["Invitation"]):
    def open(self, at: datetime) -> InvitationQuerySet:
        """Those whose link still works at `at`."""
        return self.filter(accepted_at=None, revoked_at=None, expires_at__gt=at)

    def unanswered(self) -> InvitationQuerySet:
        """Those that nobody accepted or took back, whether or not their link still works."""
        return self.filter(accepted_at=None, revoked_at=None)


class Invitation(models.Model):
    """A single-use, expiring way in. Only the digest of its link's secret is kept."""

    email = models.EmailField(max_length=254)
    name = models.CharField(max_length=120)
    roles = models.JSONField(default=list)
    account = models.ForeignKey(Account, null=True, blank=True, on_delete=models.PROTECT)
    secret_digest = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    invited_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.OneToOneField(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="invitation"
    )
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ["-invited_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                condition=models.Q(accepted_at=None, revoked_at=None),
                name="one_open_invitation_per_email",
                violation_error_message="This address has an open invitation already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} <{self.email}>"

    def state(self, at: datetime) -> str:
        """`open`, `accepted`, `revoked` or `expired`."""
        if self.accepted_at:
            return "accepted"
        if self.revoked_at:
            return "revoked"
        return "open" if at < self.expires_at else "expired"


class AccessToken(Token):
    """A person's token for the JSON API."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="access_tokens")

    def __str__(self) -> str:
        return f"{self.name} ({self.person})"
