"""The addresses of season plans and planning runs."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from rest_framework import serializers

from orchard.api.fields import (
    Amount,
    Anything,
    Day,
    DecimalText,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Whole,
    Word,
    named,
)
from orchard.blocks import queries as block_queries
from orchard.crews import queries as crew_queries
from orchard.farms.resources import Acting, Changing, Making, Single
from orchard.inventory import queries as stock
from orchard.tasks import programme_queries as queries
from orchard.tasks import programmes
from orchard.tasks.api.checks import RATES
from orchard.tasks.models import PlanningRun, Programme
from orchard.tasks.states import KINDS


class StageWindow(Input):
    """A BBCH window, both ends in; it may wrap round the year."""


for _end in ("from", "to"):
    named(StageWindow, _end, Whole(min_value=0, max_value=99))


class LineProduct(Input):
    product = Reference(stock.products)
    rate = Amount(*RATES, "ppm")


class AlternativeMix(Input):
    """Another mix, for when a product of the first is short or its resistance group was just used."""

    products = Listed(child=LineProduct(), min_length=1, max_length=20)
    note = Text(required=False, allow_null=True)


class LineInput(Input):
    """One job of the plan: what, where, and between which stages."""

    id = Id(required=False, help_text="kept where it is known")
    title = Text(max_length=200)
    kind = Word(KINDS)
    blocks = Listed(child=Reference(block_queries.blocks), required=False)
    crops = Listed(child=Text(max_length=60), required=False)
    stage = StageWindow(required=False, allow_null=True)
    leaf_drop_minimum_percent = DecimalText(least="0", most="100", unit="%", required=False, allow_null=True)
    targets = Listed(child=Text(max_length=100), required=False)
    products = Listed(child=LineProduct(), required=False, max_length=20)
    alternatives = Listed(
        child=AlternativeMix(),
        required=False,
        max_length=10,
        help_text="other mixes in order: the first is planned that is in store and whose resistance group "
        "was not just used",
    )
    volume_per_tree = Amount("volume", "volume/tree", required=False, allow_null=True)
    volume_per_area = Amount("volume/area", required=False, allow_null=True)
    repeat_after = Amount("time", required=False, allow_null=True)
    note = Text(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs.get("blocks") and not attrs.get("crops"):
            raise serializers.ValidationError(
                {"blocks": [_("name the blocks, or the crops")]}, code="required"
            )
        return attrs


VALID_UNTIL = "of advice: the last day on the farm on which a manager may take it; null: any day"


class ProgrammeInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    lines = Listed(child=LineInput(), max_length=200)
    status = Word(["advice", "active"], required=False)
    valid_until = Day(required=False, allow_null=True, help_text=VALID_UNTIL)


class ProgrammeChange(Input):
    name = Text(max_length=200)
    lines = Listed(child=LineInput(), max_length=200)
    status = Word(["active"], required=False, help_text="active: a manager takes the advice")
    valid_until = Day(required=False, allow_null=True, help_text=VALID_UNTIL)


for _form in (ProgrammeInput, ProgrammeChange):
    named(_form, "from", Day(source="starts_on"))
    named(_form, "until", Day(source="ends_on"))


class ProgrammeShown(Shown):
    name = serializers.CharField()
    status = serializers.ChoiceField(choices=["advice", "active", "closed"])
    lines = serializers.ListField(child=serializers.JSONField())
    valid_until = serializers.DateField(allow_null=True, help_text=VALID_UNTIL)


named(ProgrammeShown, "from", serializers.DateField(source="starts_on"))
named(ProgrammeShown, "until", serializers.DateField(source="ends_on"))


def stored(line: dict[str, Any]) -> dict[str, Any]:
    """Return a line as it is kept: ids and amounts as JSON."""
    kept: dict[str, Any] = {}
    for name, value in line.items():
        if name == "blocks":
            kept[name] = [str(block.id) for block in value]
        elif name == "products":
            kept[name] = _mix(value)
        elif name == "alternatives":
            kept[name] = [{"products": _mix(one["products"]), "note": one.get("note")} for one in value]
        elif name in ("volume_per_tree", "volume_per_area", "repeat_after"):
            kept[name] = value.as_json() if value is not None else None
        elif name in ("id", "leaf_drop_minimum_percent"):
            kept[name] = None if value is None else str(value)
        else:
            kept[name] = value
    return kept


def _mix(products: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{"product": str(one["product"].id), "rate": one["rate"].as_json()} for one in products]


class ProgrammeQuery(ListQuery):
    status = Word(["advice", "active", "closed"], required=False)


class Programmes(Making):
    """Season plans: work by stage, not by date."""

    resource = "programme"
    shown = ProgrammeShown
    asked = ProgrammeInput
    query = ProgrammeQuery

    def rows(self, **filters: Any) -> QuerySet[Programme]:
        return queries.programmes(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Programme:
        kept = [stored(line) for line in values.pop("lines")]
        return programmes.add_programme(farm=self.farm, lines=kept, by=self.by, now=self.now, **values)


class ProgrammeHere(Changing):
    """One season plan."""

    resource = "programme"
    shown = ProgrammeShown
    asked = ProgrammeChange

    def rows(self) -> QuerySet[Programme]:
        return queries.programmes(farm=self.farm)

    def change(self, row: Programme, **values: Any) -> Programme:
        if "lines" in values:
            values["lines"] = [stored(line) for line in values["lines"]]
        return programmes.change_programme(programme=row, by=self.by, now=self.now, **values)


class ProgrammeAction(Acting):
    """An action on a season plan: `close` or `reopen`."""

    resource = "programme"
    shown = ProgrammeShown

    def rows(self) -> QuerySet[Programme]:
        return queries.programmes(farm=self.farm)

    def do(self, row: Programme, **values: Any) -> Programme:
        move = {"close": programmes.close, "reopen": programmes.reopen}[self.action]
        return move(programme=row, by=self.by, now=self.now)


class Result(Anything):
    """What a run came to; what its sentences are made of is for the pages."""

    def to_representation(self, value: Any) -> Any:
        shown = [{name: one[name] for name in one if name != "told"} for one in value.get("left_out", ())]
        return {**value, "left_out": shown}


class RunShown(Shown):
    programme = Id()
    blocks = serializers.ListField(child=serializers.CharField(), allow_null=True)
    crews = serializers.ListField(child=serializers.CharField(), allow_null=True)
    sprayers = serializers.ListField(child=serializers.CharField(), allow_null=True)
    status = serializers.ChoiceField(choices=["queued", "running", "done", "failed"])
    progress_percent = serializers.IntegerField()
    result = Result(
        allow_null=True,
        help_text="`work_orders`: drafts made or moved; `left_out`: `[{line, block, code, says}]`; "
        "`gap_percent`: how far the plan may be from the best there is; `proof`: risk in a thousand and "
        "minutes on the road beside what no plan goes below; `cancelled`: true where it was called off",
    )


named(RunShown, "from", Moment(source="starts_at"))
named(RunShown, "until", Moment(source="ends_at"))


class RunInput(Input):
    id = Id(made_here=True, required=False)
    programme = Reference(queries.programmes)
    blocks = Listed(child=Reference(block_queries.blocks), required=False, allow_null=True)
    crews = Listed(child=Reference(crew_queries.crews), required=False, allow_null=True)
    sprayers = Listed(child=Reference(crew_queries.plain_sprayers), required=False, allow_null=True)


named(RunInput, "from", Moment(source="starts_at"))
named(RunInput, "until", Moment(source="ends_at"))


class Runs(Making):
    """Requests to plan the days of a season plan; answered with 202, the result follows."""

    resource = "planning_run"
    shown = RunShown
    asked = RunInput
    made_status = 202

    def rows(self, **filters: Any) -> QuerySet[PlanningRun]:
        return queries.planning_runs(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> PlanningRun:
        for name in ("blocks", "crews", "sprayers"):
            if values.get(name) is not None:
                values[name] = [str(row.id) for row in values[name]]
        return programmes.request_run(farm=self.farm, by=self.by, now=self.now, **values)


class Run(Single):
    """One planning run."""

    resource = "planning_run"
    shown = RunShown

    def rows(self) -> QuerySet[PlanningRun]:
        return queries.planning_runs(farm=self.farm)


class CancelRun(Acting):
    """Call it off: what is solved then is not written, and the run has failed."""

    resource = "planning_run"
    shown = RunShown
    action = "cancel"
    happened = True  # its progress changes it under the sender's hands

    def rows(self) -> QuerySet[PlanningRun]:
        return queries.planning_runs(farm=self.farm)

    def do(self, row: PlanningRun, **values: Any) -> PlanningRun:
        return programmes.cancel_run(run=row, by=self.by, now=self.now)


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}programmes", Programmes.as_view()),
    path(f"{_AT}programmes/<uuid:id>", ProgrammeHere.as_view()),
    path(f"{_AT}programmes/<uuid:id>/actions/close", ProgrammeAction.as_view(action="close")),
    path(f"{_AT}programmes/<uuid:id>/actions/reopen", ProgrammeAction.as_view(action="reopen")),
    path(f"{_AT}planning-runs", Runs.as_view()),
    path(f"{_AT}planning-runs/<uuid:id>", Run.as_view()),
    path(f"{_AT}planning-runs/<uuid:id>/actions/cancel", CancelRun.as_view()),
]
