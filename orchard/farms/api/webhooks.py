"""The addresses of webhooks and of what was sent to them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Anything, Id, Input, Listed, ListQuery, Moment, Shown, Text, Word, YesNo
from orchard.api.refusals import Fault, NotThere
from orchard.farms import queries
from orchard.farms.models import Webhook, WebhookDelivery
from orchard.farms.resources import Acting, Changing, Collection, Making, Removing
from orchard.farms.webhooks import services
from orchard.farms.webhooks.events import CHOICES


class WebhookShown(Shown):
    url = serializers.CharField(help_text="where events are sent")  # type: ignore[assignment]
    events = serializers.ListField(child=serializers.ChoiceField(choices=CHOICES))
    enabled = serializers.BooleanField(help_text="false: nothing is sent until it is true again")
    failing_since = Moment(allow_null=True, help_text="nothing was taken from then on")
    paused_because = serializers.CharField(allow_null=True, help_text="why we stopped sending by ourselves")


class WebhookInput(Input):
    id = Id(made_here=True, required=False)
    url = Text(help_text="https, and not a private, loopback or link-local address")
    events = Listed(child=Word(CHOICES), min_length=1, help_text="kinds of events; `*` for every one")
    enabled = YesNo(required=False)


class WebhookChange(WebhookInput):
    id = None  # type: ignore[assignment]


class TellsItsSecret:
    """Shows the secret of a webhook in the first answer, and never in one that is given again."""

    secret: str

    def with_secret(self, response: Response) -> Response:
        """Return the response, with the secret where this request made it."""
        if response.status_code < 300 and hasattr(self, "secret"):
            response.data = {**response.data, "secret": self.secret}
        return response


class Webhooks(TellsItsSecret, Making):
    """Addresses of other systems that hear of events. The answer to POST shows the `secret`, this once.

    Deliveries are signed as Standard Webhooks says. Of one thing they come in order, of several in any; each
    is sent until it is taken, for three days, and may come twice: know it by its `webhook-id`.
    """

    resource = "webhook"
    shown = WebhookShown
    asked = WebhookInput

    def rows(self, **filters: Any) -> QuerySet[Webhook]:
        return queries.webhooks(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Webhook:
        made = services.add_webhook(farm=self.farm, by=self.by, now=self.now, **values)
        self.secret = made.secret
        return made

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Make one."""
        return self.with_secret(self.once(self._post))


class WebhookHere(Changing, Removing):
    """One webhook."""

    resource = "webhook"
    shown = WebhookShown
    asked = WebhookChange

    def rows(self) -> QuerySet[Webhook]:
        return queries.webhooks(farm=self.farm)

    def change(self, row: Webhook, **values: Any) -> Webhook:
        return services.change_webhook(webhook=row, by=self.by, now=self.now, **values)


class WebhookAction(TellsItsSecret, Acting):
    """An action on one webhook. Write `do`."""

    resource = "webhook"
    shown = WebhookShown

    def rows(self) -> QuerySet[Webhook]:
        return queries.webhooks(farm=self.farm)

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        return self.with_secret(super().post(request, **kwargs))


class RotateSecret(WebhookAction):
    """Make a new secret, shown this once; for a day the old one signs as well."""

    action = "rotate_secret"

    def do(self, row: Webhook, **values: Any) -> Webhook:
        changed = services.rotate_secret(webhook=row, by=self.by, now=self.now)
        self.secret = changed.secret
        return changed


class ReplayInput(Input):
    delivery = Id(help_text="id of the delivery to send again")


class Replay(WebhookAction):
    """Send a delivery again, with its old `webhook-id`."""

    action = "replay"
    asked = ReplayInput

    def do(self, row: Webhook, **values: Any) -> Webhook:
        services.replay(webhook=row, delivery=values["delivery"], by=self.by, now=self.now)
        return row


class DeliveryShown(Shown):
    event = Id(help_text="id of the event; the delivery's own id is the `webhook-id`")
    type = serializers.CharField(source="kind")
    state = serializers.ChoiceField(choices=["waiting", "delivered", "failed"])
    request_headers = Anything(allow_null=True, help_text="headers of the last try")
    request_body = Anything()
    status = serializers.IntegerField(allow_null=True, help_text="HTTP status of the last answer")
    error = serializers.CharField(allow_null=True, help_text="what went wrong where nothing answered")
    attempt = serializers.IntegerField(help_text="tries so far")
    next_at = serializers.SerializerMethodField(help_text="when it is tried again; null where it is not")

    def get_next_at(self, row: WebhookDelivery) -> str | None:
        return Moment().to_representation(row.next_at) if row.state == "waiting" else None


class DeliveryQuery(ListQuery):
    state = Word(["waiting", "delivered", "failed"], required=False)


class Deliveries(Collection):
    """What was sent to a webhook, or is on its way."""

    resource = "webhook_delivery"
    shown = DeliveryShown
    query = DeliveryQuery

    def find(self, **kwargs: Any) -> None:
        self.webhook = queries.webhooks(farm=self.farm).filter(id=kwargs["id"]).first()
        if self.webhook is None:
            raise NotThere(Fault("not_found", _("there is no such webhook on this farm")))

    def rows(self, **filters: Any) -> QuerySet[WebhookDelivery]:
        assert self.webhook is not None
        return self.webhook.deliveries.select_related("farm").filter(**filters)


_AT = "farms/<uuid:farm>/webhooks"
urlpatterns = [
    path(_AT, Webhooks.as_view()),
    path(f"{_AT}/<uuid:id>", WebhookHere.as_view()),
    path(f"{_AT}/<uuid:id>/actions/rotate_secret", RotateSecret.as_view()),
    path(f"{_AT}/<uuid:id>/actions/replay", Replay.as_view()),
    path(f"{_AT}/<uuid:id>/deliveries", Deliveries.as_view()),
]
