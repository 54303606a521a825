"""What the actions on a work order are told with."""

from __future__ import annotations

from orchard.api.fields import Amount, Id, Input, Listed, Moment, Reference, Text, Whole, Word, YesNo
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.inventory import queries as store
from orchard.tasks import queries
from orchard.tasks.api.fields import ObservedInput
from orchard.tasks.services.rest import FATES
from orchard.tasks.states import HOLD_REASONS


class NoteInput(Input):
    note = Text(required=False, allow_null=True)


class AcceptInput(Input):
    revision = Whole(min_value=1, required=False, allow_null=True, help_text="the one that was read")


class StartInput(AcceptInput):
    at = Moment(past=True, required=False, help_text="now where absent")
    block = Id(
        required=False,
        help_text="of the block whose sign was read on the spot; another than the order's is refused",
    )
    observed = ObservedInput(
        required=False, help_text="for a spray with wind, temperature and people_out; else may be empty"
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


class LeftoverInput(Input):
    volume = Amount("volume", sign="zero")
    fate = Word(FATES)
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


class HoldInput(Input):
    reason = Word(HOLD_REASONS, required=False, allow_null=True, help_text="required")
    note = Text(required=False, allow_null=True)
    at = Moment(past=True, required=False, help_text="now where absent")


class ResumeInput(NoteInput):
    at = Moment(past=True, required=False, help_text="now where absent")
    people_out = YesNo(
        required=False, allow_null=True, help_text="false: somebody is still in the block, so it stays held"
    )


class CancelInput(Input):
    reason = Text(required=False, allow_null=True, allow_blank=True, help_text="required")


class SettleInput(NoteInput):
    conflict = Id(help_text="of one of the order's `conflicts`")
