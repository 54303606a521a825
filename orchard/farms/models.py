"""Farms, the people on them, their tokens, and the three journals: audit, changes, outbox."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.contrib.postgres.indexes import BrinIndex
from django.db import models
from django.db.models.functions import Lower, Now

from orchard.farms.actors import Role
from orchard.farms.rows import FarmRow, FarmRows, entity_tag, new_id

ROLES = [(role.value, role.value) for role in Role]


class Farm(models.Model):
    """A tenant: everything else belongs to exactly one."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    name = models.CharField(max_length=200)
    zone = models.CharField(max_length=64)
    units = models.CharField(max_length=6, choices=[("us", "us"), ("metric", "metric")])
    region = models.CharField(max_length=6)
    measures = models.JSONField(default=list)
    limits = models.JSONField(default=dict)
    emergency = models.TextField(null=True)
    gate_code = models.CharField(max_length=100, null=True)
    """Told to those who are signed in alone: on no paper, on no card, in no list."""
    labels_need_approval = models.BooleanField(default=False)
    archived = models.BooleanField(default=False)
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    created_by_kind = models.CharField(max_length=10)
    created_by_id = models.UUIDField(null=True)
    created_by_name = models.CharField(max_length=200, blank=True)
    version = models.BigIntegerField(default=1)

    class Meta:
        ordering = ("id",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(units__in=["us", "metric"]), name="a_farm_measures_in_us_or_metric_units"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    resource = "farm"

    @property
    def etag(self) -> str:
        """The entity tag of this version, with its quotes."""
        return entity_tag(version=self.version, created_at=self.created_at)

    @property
    def farm(self) -> Farm:
        """A farm belongs to itself, so that the journals treat it as any row."""
        return self

    @property
    def path(self) -> str:
        """Where it is read."""
        return f"/api/v1/farms/{self.id}"


class People(BaseUserManager["Person"]):
    """How a person is made; e-mail is kept in lower case."""

    def create_user(self, *, email: str, password: str | None, name: str = "", **rest: Any) -> Person:
        """Make a person who signs in with e-mail and password."""
        person = self.model(email=email.strip().lower(), name=name, **rest)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, *, email: str, password: str | None, **rest: Any) -> Person:
        """Make an operator of the whole service, for the admin pages."""
        return self.create_user(email=email, password=password, is_staff=True, is_superuser=True, **rest)

    def get_by_natural_key(self, username: str | None) -> Person:
        """Find by e-mail, whatever its case."""
        return self.get(email=(username or "").strip().lower())


class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody who can sign in; what they may do stands in their memberships."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    email = models.EmailField(max_length=254, unique=True)
    name = models.CharField(max_length=200, blank=True)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)

    objects = People()
    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = []

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="an_email_belongs_to_one_person")]

    def __str__(self) -> str:
        return self.name or self.email


class Membership(FarmRow):
    """What one person is on one farm."""

    resource = "member"
    collection = "members"
    fenced = False

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20, choices=ROLES)
    language = models.CharField(max_length=8, default="en")
    worker = models.ForeignKey("crews.Worker", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("farm", "person"), name="a_person_is_a_member_of_a_farm_once"),
            models.CheckConstraint(
                condition=models.Q(role__in=[r.value for r in Role]), name="a_member_has_a_known_role"
            ),
        ]


class Token(FarmRow):
    """A key for programs and phones: shown once, kept as a hash."""

    resource = "token"
    collection = "tokens"
    fenced = False

    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20, choices=ROLES)
    scopes = models.JSONField(default=list)
    expires_at = models.DateTimeField(null=True)
    worker = models.ForeignKey("crews.Worker", null=True, on_delete=models.PROTECT, related_name="+")
    prefix = models.CharField(max_length=12)
    digest = models.CharField(max_length=64, unique=True)
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)


class CalendarFeed(FarmRow):
    """A private address at which a calendar program reads the schedule; only its hash is kept."""

    resource = "calendar_feed"
    collection = "calendar-feeds"
    fenced = False

    name = models.CharField(max_length=200)
    crew = models.ForeignKey("crews.Crew", null=True, on_delete=models.PROTECT, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    revoked_at = models.DateTimeField(null=True)


class Webhook(FarmRow):
    """An address of another system that hears of events.

    `failing_since`: nothing was taken from then on. `paused_because`: we stopped sending by ourselves.
    """

    resource = "webhook"
    collection = "webhooks"

    url = models.CharField(max_length=2000)
    events = models.JSONField(default=list)
    enabled = models.BooleanField(default=True)
    secret = models.CharField(max_length=100)
    old_secret = models.CharField(max_length=100, null=True)
    old_secret_until = models.DateTimeField(null=True)
    failing_since = models.DateTimeField(null=True)
    paused_because = models.TextField(null=True)


class WebhookDelivery(FarmRow):
    """One event on its way to one webhook: sent until it is taken, for three days at most."""

    resource = "webhook_delivery"
    collection = "webhooks/deliveries"

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    event = models.UUIDField()
    kind = models.CharField(max_length=40)
    subject = models.UUIDField()
    seq = models.BigIntegerField()
    request_headers = models.JSONField(null=True)
    request_body = models.JSONField()
    state = models.CharField(max_length=10, default="waiting")
    attempt = models.PositiveIntegerField(default=0)
    status = models.PositiveIntegerField(null=True)
    error = models.TextField(null=True)
    next_at = models.DateTimeField()

    @property
    def path(self) -> str:
        """Where it is listed."""
        return f"{self.webhook.path}/deliveries"

    class Meta(FarmRow.Meta):
        constraints = [
            *FarmRow.Meta.constraints,
            models.UniqueConstraint(fields=("webhook", "event"), name="an_event_is_told_once_to_a_webhook"),
            models.CheckConstraint(
                condition=models.Q(state__in=["waiting", "delivered", "failed"]),
                name="a_delivery_is_in_a_known_state",
            ),
        ]
        indexes = [
            models.Index(
                fields=("webhook", "subject", "seq"),
                condition=models.Q(state="waiting"),
                name="deliveries_on_their_way",
            ),
        ]


class TransactionNumber(models.Func):
    """The number of the database transaction that writes the row."""

    template = "(pg_current_xact_id()::text::bigint)"
    output_field = models.BigIntegerField()


class PlaceInFeed(TransactionNumber):
    """The same, going on from before where the database was restored on another server (`numbering`)."""

    template = "(pg_current_xact_id()::text::bigint + orchard_transaction_offset())"


class AuditEntry(models.Model):
    """Who did what, before and after. Never changed, never deleted: the database refuses both."""

    append_only = True

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField()
    transaction_number = models.BigIntegerField(db_default=PlaceInFeed())
    by_kind = models.CharField(max_length=10)
    by_id = models.UUIDField(null=True)
    by_name = models.CharField(max_length=200)
    by_role = models.CharField(max_length=20)
    action = models.CharField(max_length=40)
    resource = models.CharField(max_length=40)
    resource_id = models.UUIDField(null=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    reason = models.TextField(null=True)
    outcome = models.CharField(max_length=10, default="done")
    codes = models.JSONField(default=list)
    request_id = models.CharField(max_length=64, null=True)

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("id",)
        indexes = [
            models.Index(fields=("farm", "resource", "resource_id"), name="audit_by_thing"),
            BrinIndex(fields=("transaction_number",), name="audit_by_transaction"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(outcome__in=["done", "refused"]), name="an_audit_entry_is_done_or_refused"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.resource}"


class AuditLink(models.Model):
    """The seal of one audit entry, written when no earlier entry can come any more (`audit_chain`).

    It refers to the entry by no foreign key: that an entry is gone must be told by the proof.
    """

    append_only = True

    entry_id = models.UUIDField(primary_key=True, editable=False)
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+", db_index=False)
    position = models.BigIntegerField()
    transaction_number = models.BigIntegerField()
    hash = models.BinaryField(max_length=32)
    sealed_at = models.DateTimeField()

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("farm", "position")
        indexes = [models.Index(fields=("transaction_number",), name="seals_by_transaction")]
        constraints = [
            models.UniqueConstraint(fields=("farm", "position"), name="an_audit_has_one_entry_at_a_place"),
        ]

    def __str__(self) -> str:
        return f"seal {self.position}"


class Change(models.Model):
    """One change that other systems may follow, numbered by the transaction that made it."""

    append_only = True

    seq = models.BigAutoField(primary_key=True)
    transaction_number = models.BigIntegerField(db_default=PlaceInFeed())
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField()
    resource = models.CharField(max_length=40)
    resource_id = models.UUIDField()
    change = models.CharField(max_length=10)
    etag = models.CharField(max_length=80)
    path = models.CharField(max_length=300)

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("transaction_number", "seq")
        indexes = [models.Index(fields=("farm", "transaction_number", "seq"), name="changes_in_order")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(change__in=["created", "updated", "deleted", "voided"]),
                name="a_change_is_of_a_known_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.change} {self.resource}"


class OutboxEvent(models.Model):
    """Work for later, written in the same transaction as what it follows from.

    `processed_at` empty: still to be delivered. `set_aside_at` filled: too many attempts failed. `no_job`:
    it is done, since nothing had to be done for it. `by`: who did what it follows from, and in which request.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    seq = models.BigIntegerField(db_default=PlaceInFeed())
    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+", db_index=False)
    kind = models.CharField(max_length=40)
    subject = models.UUIDField()
    by = models.JSONField()
    created_at = models.DateTimeField(db_default=Now())
    sent = models.PositiveIntegerField(default=0)
    attempts = models.PositiveIntegerField(default=0)
    next_at = models.DateTimeField(db_default=Now())
    last_error = models.TextField(null=True)
    processed_at = models.DateTimeField(null=True)
    set_aside_at = models.DateTimeField(null=True)
    no_job = models.BooleanField(default=False)

    objects = FarmRows.as_manager()

    class Meta:
        ordering = ("seq", "id")
        indexes = [
            models.Index(
                fields=("next_at",),
                condition=models.Q(processed_at=None, set_aside_at=None),
                name="outbox_to_be_delivered",
            ),
            models.Index(
                fields=("farm", "seq", "id"),
                condition=models.Q(processed_at=None, set_aside_at=None),
                name="outbox_of_a_farm_in_order",
            ),
            models.Index(
                fields=("farm", "seq"),
                condition=models.Q(processed_at=None, set_aside_at__isnull=False),
                name="outbox_set_aside",
            ),
            BrinIndex(fields=("created_at",), name="outbox_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"
