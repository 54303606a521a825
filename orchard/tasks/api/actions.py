"""What is done with a work order: one address for each move of `states.MOVES`."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Amount, Id, Input, Listed, Moment, Reference, Text, Whole, Word, YesNo
from orchard.api.refusals import Refusal
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms.resources import Single
from orchard.inventory import queries as store
from orchard.tasks import queries
from orchard.tasks.api.fields import ObservedInput, as_said
from orchard.tasks.api.orders import ORDER, OrderEndpoint
from orchard.tasks.models import WorkOrder
from orchard.tasks.services import finish, issue, loads, starting
from orchard.tasks.states import HOLD_REASONS, MOVES


class Action(OrderEndpoint, Single):
    """One move of a work order. Write `do`, and `done_before` where the same id again changes nothing."""

    http_method_names = ["post", "options"]
    verbs: ClassVar[dict[str, str]] = {"POST": "action"}
    action: ClassVar[str] = ""

    def verb(self, verb: str) -> str:
        return self.action

    def rows(self) -> QuerySet[WorkOrder]:
        return queries.work_orders(farm=self.farm)

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        return self.once(self._act)

    def _act(self) -> Response:
        repeated = "If-Match" in self.request.headers and self.done_before()
        if not repeated:
            self.match(self.thing, happened=MOVES[self.action].happened)
            self.thing = self.do(self.thing, **self.asked_for())
        return self.answer(self.thing)

    def done_before(self) -> bool:
        """Return whether this very thing was told before: then a stale ETag is no reason to refuse it."""
        return False

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        """Do it with one call down; return the order after it."""
        raise NotImplementedError

    def own_id(self) -> Any:
        """Return the client-made id of the body, where it is one."""
        try:
            return Id(made_here=True).to_internal_value(self.body.get("id"))
        except (ValidationError, Refusal, AttributeError):  # told where the body is read
            return None


class NoteInput(Input):
    note = Text(required=False, allow_null=True)


class Issue(Action):
    """Give it to the crew: checked anew, stock reserved."""

    action = "issue"
    asked = NoteInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return issue.issue(order=order, by=self.by, now=self.now, **values)


class AcceptInput(Input):
    revision = Whole(min_value=1, required=False, allow_null=True, help_text="the one that was read")


class Accept(Action):
    """Take it on."""

    action = "accept"
    asked = AcceptInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return issue.accept(order=order, by=self.by, now=self.now, **values)


class StartInput(AcceptInput):
    at = Moment(past=True, required=False, help_text="now where absent")
    observed = ObservedInput(
        required=False, help_text="for a spray with wind, temperature and people_out; else may be empty"
    )


class Start(Action):
    """Begin: the limits again with what is observed on the spot. A stage that was seen is kept either way."""

    action = "start"
    asked = StartInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        observed = as_said(values.pop("observed", None) or {})
        return starting.start(order=order, by=self.by, now=self.now, observed=observed, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        super()._audit_refusal(refusal)
        if isinstance(refusal, starting.StartRefused):
            starting.note_stage(
                order=refusal.order, bbch=refusal.bbch, at=refusal.at, by=self.by, now=self.now
            )


class LotUsed(Input):
    lot = Reference(store.lots)
    amount = Amount("mass", "volume", "count")


class ProductUsed(Input):
    product = Reference(store.products)
    lots = Listed(
        child=LotUsed(),
        required=False,
        min_length=1,
        help_text="absent: the planned amount of this load from what is reserved, first to expire first",
    )


class LoadInput(Input):
    id = Id(made_here=True, required=False, help_text="the load's")
    number = Whole(min_value=1, max_value=10_000)
    spray = Amount("volume", help_text="mixed")
    products = Listed(child=ProductUsed(), min_length=1, max_length=50)
    at = Moment(past=True, required=False, help_text="now where absent")
    mixed_by = Reference(crews.workers, required=False, allow_null=True)
    area_done = Amount("area", sign="zero", required=False, allow_null=True)
    trees_done = Whole(min_value=0, required=False, allow_null=True)
    trees_skipped = Whole(min_value=0, required=False, allow_null=True)
    leftover = Amount("volume", sign="zero", required=False, allow_null=True)
    note = Text(required=False, allow_null=True)


class RecordLoad(Action):
    """Tell of one tank. The same id again: 200, and nothing more happens."""

    action = "record_load"
    asked = LoadInput

    def done_before(self) -> bool:
        return loads.recorded_before(order=self.thing, id=self.own_id())

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return loads.record_load(order=order, by=self.by, now=self.now, **values)


class LeftoverInput(Input):
    volume = Amount("volume", sign="zero")
    fate = Word(finish.FATES)
    block = Reference(blocks.blocks, required=False, allow_null=True, help_text="for sprayed_out")


class FinishInput(Input):
    id = Id(made_here=True, required=False, help_text="the application record's")
    finished_at = Moment(past=True, required=False, help_text="now where absent")
    nothing_unusual = YesNo(required=False, allow_null=True)
    incidents = Listed(child=Reference(queries.incidents), required=False)
    leftover = LeftoverInput(required=False, allow_null=True)
    sprayed = Amount("volume", required=False, allow_null=True, help_text="all that was mixed where absent")
    sprayed_by = Listed(child=Reference(crews.workers), required=False, allow_null=True)
    note = Text(required=False, allow_null=True)


class Finish(Action):
    """End the work. The same id again: 200; another id after it: 409, and what was sent is kept."""

    action = "finish"
    asked = FinishInput

    def done_before(self) -> bool:
        return finish.finished_before(order=self.thing, id=self.own_id())

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        if values.get("leftover"):
            values["leftover"] = finish.Leftover(**values["leftover"])
        return finish.finish(order=order, by=self.by, now=self.now, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        super()._audit_refusal(refusal)
        if isinstance(refusal, finish.PossibleDuplicate):
            finish.keep_duplicate(order=self.thing, body=self.body, by=self.by, now=self.now)


class HoldInput(Input):
    reason = Word(HOLD_REASONS, required=False, allow_null=True, help_text="required")
    note = Text(required=False, allow_null=True)
    at = Moment(past=True, required=False, help_text="now where absent")


class Hold(Action):
    """Stop, with a reason."""

    action = "hold"
    asked = HoldInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return issue.hold(order=order, by=self.by, now=self.now, **values)


class ResumeInput(NoteInput):
    at = Moment(past=True, required=False, help_text="now where absent")


class Resume(Action):
    """Go back to the state before the hold."""

    action = "resume"
    asked = ResumeInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return issue.resume(order=order, by=self.by, now=self.now, **values)


class CancelInput(Input):
    reason = Text(required=False, allow_null=True, allow_blank=True, help_text="required")


class Cancel(Action):
    """Call it off; what was reserved goes back."""

    action = "cancel"
    asked = CancelInput

    def do(self, order: WorkOrder, **values: Any) -> WorkOrder:
        return issue.cancel(order=order, by=self.by, now=self.now, **values)


ACTIONS = (Issue, Accept, Start, RecordLoad, Finish, Hold, Resume, Cancel)
urlpatterns = [path(f"{ORDER}/<uuid:id>/actions/{one.action}", one.as_view()) for one in ACTIONS]
