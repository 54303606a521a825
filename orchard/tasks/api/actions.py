"""What is done with a work order: one address for each move of `states.MOVES`.

What was refused and tells of something that has happened is kept with the order (`conflicts`); what only
came too early is told again by itself as soon as what it waited for has arrived.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.urls import path
from rest_framework.exceptions import ValidationError
from rest_framework.response import Response

from orchard.api import permissions
from orchard.api.fields import Id, Moment
from orchard.api.problems import faults_in
from orchard.api.refusals import Conflict, Refusal, Unprocessable
from orchard.farms.actors import Actor
from orchard.farms.resources import Acting
from orchard.tasks import queries
from orchard.tasks.api.fields import as_said
from orchard.tasks.api.orders import ORDER, OrderEndpoint
from orchard.tasks.api.telling import (
    AcceptInput,
    CancelInput,
    FinishInput,
    HoldInput,
    LoadInput,
    NoteInput,
    ResumeInput,
    SettleInput,
    StartInput,
)
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import claims, finish, issue, loads, starting
from orchard.tasks.states import MOVES, allowed_in


class Action(OrderEndpoint, Acting):
    """One move of a work order. Write `do`, and `done_before` where the same id again changes nothing."""

    happened_at: ClassVar[str] = "at"
    """The field that tells when it happened."""
    lets_in: ClassVar[bool] = False
    """Whether what came too early may be let in after it."""

    def rows(self) -> QuerySet[WorkOrder]:
        return queries.work_orders(farm=self.farm)

    def act(self) -> Response:
        repeated = "If-Match" in self.request.headers and self.done_before()
        if not repeated:
            self.match(self.thing, happened=self.action in MOVES and MOVES[self.action].happened)
            self.thing = self.do(self.thing, **self.asked_for())
            if self.lets_in:
                self._tell_what_waited()
        return self.answer(self.thing)

    def _tell_what_waited(self) -> None:
        """Tell again what came too early, each in its order; what does not fit yet stays where it is."""
        for claim in list(claims.waiting(self.thing)):
            if claim["action"] not in ("record_load", "finish"):
                continue
            if claim["action"] == "finish" and not loads.all_told(order=self.thing):
                continue
            try:
                with transaction.atomic():
                    self.thing = self._tell(claim)
            except Refusal:
                self.thing.refresh_from_db()

    def _tell(self, claim: dict[str, Any]) -> WorkOrder:
        form = (LoadInput if claim["action"] == "record_load" else FinishInput)(
            data=claim["body"], context=self.context()
        )
        if not form.is_valid():
            raise Unprocessable(*faults_in(form.errors))
        tell = record_load if claim["action"] == "record_load" else end
        return tell(self.thing, by=claims.told_by(claim), now=self.now, **form.validated_data)

    def done_before(self) -> bool:
        """Return whether this very thing was told before: then a stale ETag is no reason to refuse it."""
        return False

    def own_id(self) -> Any:
        """Return the client-made id of the body, where it is one."""
        try:
            return Id(made_here=True).to_internal_value(self.body.get("id"))
        except (ValidationError, Refusal, AttributeError):  # told where the body is read
            return None

    def when(self) -> dt.datetime | None:
        """Return when the sender says that it happened, where that can be read."""
        try:
            return Moment().to_internal_value(self.body.get(self.happened_at))
        except (ValidationError, Refusal, AttributeError):
            return None

    def handle_exception(self, exc: Exception) -> Response:
        """Say with every refusal which moves are open now to this sender."""
        response = super().handle_exception(exc)
        order = self._order_now()
        if order is not None and isinstance(response.data, dict):
            response.data["state"] = order.status
            response.data["open_moves"] = open_moves(order, by=self.by)
            response.data["kept"] = isinstance(exc, Conflict) and self._is_kept(exc)
        return response

    def _is_kept(self, refusal: Conflict) -> bool:
        """Say whether what was told is kept with the order for a person to look at."""
        told = claims.worth_keeping(action=self.action, body=self.body, happened_at=self.when(), now=self.now)
        return told or isinstance(refusal, finish.PossibleDuplicate)

    def _order_now(self) -> WorkOrder | None:
        if not hasattr(self, "by"):
            return None
        return queries.work_orders(farm=self.farm).filter(id=self.kwargs["id"]).first()

    def _audit_refusal(self, refusal: Refusal) -> None:
        super()._audit_refusal(refusal)
        if isinstance(refusal, finish.PossibleDuplicate):
            return
        if isinstance(refusal, Conflict) and self._is_kept(refusal):
            when, codes = self.when(), [fault.code for fault in refusal.faults]
            claims.keep(
                order=self.thing,
                action=self.action,
                body=self.body,
                codes=codes,
                happened_at=when,
                by=self.by,
                now=self.now,
            )


def open_moves(order: WorkOrder, *, by: Actor) -> list[str]:
    """Return which moves an order's state allows to somebody."""
    return [
        action
        for action in allowed_in(order.status)
        if permissions.allows(role=by.role, scopes=by.scopes, resource="work_order", verb=action)
    ]


def record_load(order: WorkOrder, *, by: Actor, now: dt.datetime, **values: Any) -> WorkOrder:
    """Tell of one tank."""
    return loads.record_load(order=order, by=by, now=now, **values)


def end(order: WorkOrder, *, by: Actor, now: dt.datetime, **values: Any) -> WorkOrder:
    """End the work."""
    if values.get("leftover"):
        values["leftover"] = finish.Leftover(**values["leftover"])
    return finish.finish(order=order, by=by, now=now, **values)


class Issue(Action):
    """Give it to the crew: checked anew, stock reserved."""

    action = "issue"
    asked = NoteInput

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return issue.issue(order=row, by=self.by, now=self.now, **values)


class Accept(Action):
    """Take it on."""

    action = "accept"
    asked = AcceptInput

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return issue.accept(order=row, by=self.by, now=self.now, **values)


class Start(Action):
    """Begin: the limits again with what is observed on the spot. A stage that was seen is kept either way."""

    action = "start"
    asked = StartInput
    lets_in = True

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        observed = as_said(values.pop("observed", None) or {})
        return starting.start(order=row, by=self.by, now=self.now, observed=observed, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        super()._audit_refusal(refusal)
        if isinstance(refusal, starting.StartRefused):
            starting.note_stage(
                order=refusal.order, bbch=refusal.bbch, at=refusal.at, by=self.by, now=self.now
            )


class RecordLoad(Action):
    """Tell of one tank. The same id again: 200, and nothing more happens."""

    action = "record_load"
    asked = LoadInput
    lets_in = True

    def done_before(self) -> bool:
        return loads.recorded_before(order=self.thing, id=self.own_id())

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return record_load(row, by=self.by, now=self.now, **values)


class Finish(Action):
    """End the work. The same id again: 200; another id after it: 409, and what was sent is kept."""

    action = "finish"
    asked = FinishInput
    happened_at = "finished_at"

    def done_before(self) -> bool:
        return finish.finished_before(order=self.thing, id=self.own_id())

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return end(row, by=self.by, now=self.now, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        super()._audit_refusal(refusal)
        if isinstance(refusal, finish.PossibleDuplicate):
            finish.keep_duplicate(order=self.thing, body=self.body, by=self.by, now=self.now)


class Hold(Action):
    """Stop, with a reason."""

    action = "hold"
    asked = HoldInput

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return issue.hold(order=row, by=self.by, now=self.now, **values)


class Resume(Action):
    """Go back to the state before the hold."""

    action = "resume"
    asked = ResumeInput
    lets_in = True

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return issue.resume(order=row, by=self.by, now=self.now, **values)


class Cancel(Action):
    """Call it off; what was reserved goes back."""

    action = "cancel"
    asked = CancelInput

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return issue.cancel(order=row, by=self.by, now=self.now, **values)


class Settle(Action):
    """Say that one of the order's `conflicts` was looked at and is dealt with; it stays on file."""

    action = "settle"
    asked = SettleInput

    def do(self, row: WorkOrder, **values: Any) -> WorkOrder:
        return claims.settle(order=row, by=self.by, now=self.now, **values)


ACTIONS = (Issue, Accept, Start, RecordLoad, Finish, Hold, Resume, Cancel, Settle)
urlpatterns = [path(f"{ORDER}/<uuid:id>/actions/{one.action}", one.as_view()) for one in ACTIONS]
