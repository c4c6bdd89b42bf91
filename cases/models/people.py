"""People and organisations: who may act, on whose behalf.

A person signs in by e-mail and acts through one membership at a time. Rows of
people carry no tenant (they are read before one exists and hold a name, an
address and a password hash); memberships, partnerships and invitations do.
"""

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q

from cases.canonical import new_code
from cases.enums import OrganisationKind, Role, ToothSystem
from cases.tenancy import TenantManager

__all__ = [
    "ApiToken",
    "Delegation",
    "Invitation",
    "Membership",
    "Organisation",
    "Partnership",
    "SigningGrant",
    "User",
]


class UserManager(BaseUserManager["User"]):
    """Creates people; e-mail addresses are compared in lower case."""

    def create_user(
        self, email: str, password: str | None = None, **fields: Any
    ) -> "User":
        """Store a person; without a password the account cannot sign in."""
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> "User":
        """Return a person by e-mail address, in any case."""
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser):
    """A person who signs in. No default users exist."""

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    licence_number = models.CharField(max_length=60, blank=True)
    is_active = models.BooleanField(default=True)
    is_operator = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    def __str__(self) -> str:
        return f"user {self.pk}"


class Organisation(models.Model):
    """A clinic or a dental laboratory."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    kind = models.CharField(max_length=10, choices=OrganisationKind.choices)
    name = models.CharField(max_length=120)
    address = models.TextField(blank=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    country = models.CharField(max_length=2, blank=True)
    region = models.CharField(max_length=20, blank=True)
    language = models.CharField(max_length=10, default="en")
    tooth_system = models.CharField(
        max_length=10, choices=ToothSystem.choices, default=ToothSystem.ISO3950
    )
    rule_set_digest = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = TenantManager["Organisation"]()

    def __str__(self) -> str:
        return f"organisation {self.code}"


class Membership(models.Model):
    """A role of a person in an organisation."""

    organisation = models.ForeignKey(Organisation, models.PROTECT)
    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=16, choices=Role.choices)
    responsible_technician = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Membership"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["organisation", "user", "role"],
                condition=Q(ended_at__isnull=True),
                name="membership_once_per_role",
            ),
        ]

    def __str__(self) -> str:
        return f"membership {self.pk}"


class Partnership(models.Model):
    """A clinic and a laboratory that work together; without one, no case."""

    clinic = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    laboratory = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    asked_by = models.ForeignKey(Organisation, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Partnership"]()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["clinic", "laboratory"],
                condition=Q(ended_at__isnull=True),
                name="partnership_once",
            ),
        ]

    def __str__(self) -> str:
        return f"partnership {self.pk}"


class Invitation(models.Model):
    """A single-use, expiring link that makes a membership."""

    code = models.CharField(max_length=10, unique=True, default=new_code)
    organisation = models.ForeignKey(Organisation, models.CASCADE)
    email = models.EmailField()
    role = models.CharField(max_length=16, choices=Role.choices)
    responsible_technician = models.BooleanField(default=False)
    token_hash = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Invitation"]()

    def __str__(self) -> str:
        return f"invitation {self.pk}"


class ApiToken(models.Model):
    """A bearer token of one membership; only its hash is stored."""

    organisation = models.ForeignKey(Organisation, models.CASCADE)
    membership = models.ForeignKey(Membership, models.CASCADE)
    name = models.CharField(max_length=80)
    token_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["ApiToken"]()

    def __str__(self) -> str:
        return f"token {self.pk}"


class SigningGrant(models.Model):
    """Proof that a person has just shown password or second factor.

    Single use, five minutes, bound to membership, purpose, target and the
    SHA-256 of exactly what is to be signed.
    """

    organisation = models.ForeignKey(Organisation, models.CASCADE)
    membership = models.ForeignKey(Membership, models.CASCADE)
    purpose = models.CharField(max_length=32)
    target = models.CharField(max_length=40)
    content_sha256 = models.CharField(max_length=64)
    token_hash = models.CharField(max_length=64, unique=True)
    method = models.CharField(max_length=16)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["SigningGrant"]()

    def __str__(self) -> str:
        return f"grant {self.pk}"


class Delegation(models.Model):
    """A clinician lets another sign for them, dated and written."""

    organisation = models.ForeignKey(Organisation, models.CASCADE)
    prescriber = models.ForeignKey(User, models.PROTECT, related_name="+")
    delegate = models.ForeignKey(User, models.PROTECT, related_name="+")
    starts_on = models.DateField()
    ends_on = models.DateField()
    note = models.TextField()
    created_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = TenantManager["Delegation"]()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("starts_on")),
                name="delegation_dates_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"delegation {self.pk}"
