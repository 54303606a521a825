"""Fields that take only what the contract allows: nothing is turned into something else in silence."""

from __future__ import annotations

import copy
import datetime as dt
import functools
import re
import uuid
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from mixing.quantities import Quantity, QuantityError, parse_decimal, plain, quantity_faults
from mixing.units import COMPOUND, SIMPLE
from orchard.api.refusals import Fault, Unprocessable
from orchard.api.spoken import of_engine

AHEAD = dt.timedelta(minutes=5)
MOMENT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,9})?)?([Zz]|[+-]\d\d:\d\d)?\Z", re.ASCII)
DAY = re.compile(r"\d{4}-\d\d-\d\d\Z", re.ASCII)


def wrong(detail: str, code: str = "invalid") -> ValidationError:
    """Return the validation error of one field."""
    return ValidationError([ErrorDetail(detail, code=code)])


class Text(serializers.CharField):
    """A text as it was written: no number turned into one, at most 2,000 characters unless said."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 2000)
        kwargs.setdefault("trim_whitespace", True)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise wrong(_("write this as text"))
        try:
            data.encode()
        except UnicodeEncodeError:
            raise wrong(_("the text holds half a character (a lone surrogate)")) from None
        if "\x00" in data:
            raise wrong(_("the text holds a NUL character"))
        return super().to_internal_value(data)


def within(value: Any, least: Any, most: Any, unit: str) -> None:
    """Let a number pass that lies within its bounds, both included; None: no bound on that side.

    :param unit: what the bounds are told in, marked for the catalogue where the field is made; empty for none
    :raises ValidationError: `out_of_range`, with the bounds and their unit
    """
    if (least is None or value >= least) and (most is None or value <= most):
        return
    bounds = {"least": least, "most": most, "unit": _(unit) if unit else ""}
    if most is None:
        says = _("has to be from %(least)s %(unit)s") if unit else _("has to be from %(least)s")
    elif least is None:
        says = _("has to be at most %(most)s %(unit)s") if unit else _("has to be at most %(most)s")
    elif unit:
        says = _("has to be from %(least)s to %(most)s %(unit)s")
    else:
        says = _("has to be from %(least)s to %(most)s")
    raise wrong(says % bounds, "out_of_range")


class Whole(serializers.IntegerField):
    """A whole number as a JSON number. `unit`: what its bounds are told in."""

    def __init__(self, *, unit: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("max_value", 2_147_483_647)
        super().__init__(**kwargs)
        self.unit = unit

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise wrong(_("write a whole number, without quotes and without a point"))
        within(data, self.min_value, self.max_value, self.unit)
        return int(data)


class WholeAsked(serializers.IntegerField):
    """A whole number in an address. `unit`: what its bounds are told in."""

    def __init__(self, *, unit: str = "", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.unit = unit

    def to_internal_value(self, data: Any) -> int:
        try:
            value: int = super().to_internal_value(data)
        except ValidationError:
            raise wrong(_("write a whole number")) from None
        within(value, self.min_value, self.max_value, self.unit)
        return value


class YesNo(serializers.BooleanField):
    """True or false, and nothing that looks like it."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise wrong(_("write true or false"))
        return data


class Word(serializers.ChoiceField):
    """One of a closed list of words."""

    def __init__(self, choices: Sequence[str], **kwargs: Any) -> None:
        super().__init__(choices=list(choices), **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.choices:
            raise wrong(_("is one of %(choices)s") % {"choices": ", ".join(map(str, self.choices))})
        return data


class Day(serializers.DateField):
    """A date in the farm's zone, `YYYY-MM-DD`."""

    def to_internal_value(self, value: Any) -> dt.date:
        if not isinstance(value, str) or not DAY.match(value):
            raise wrong(_("write a date as 2027-01-29"))
        try:
            day = dt.date.fromisoformat(value)
        except ValueError:
            raise wrong(_("there is no such day")) from None
        if not 1900 <= day.year <= 2200:
            raise wrong(_("the year lies outside 1900 to 2200"), "out_of_range")
        return day


class Moment(serializers.DateTimeField):
    """A moment, RFC 3339 with its offset. `past=True`: a fact, at most five minutes ahead of the clock."""

    def __init__(self, *, past: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.past = past

    def to_internal_value(self, value: Any) -> dt.datetime:
        match = MOMENT.match(value) if isinstance(value, str) else None
        if match is None:
            raise wrong(_("write a moment as 2027-01-29T08:00:00-08:00"))
        if match[3] is None:
            raise wrong(_("the offset is missing: 2027-01-29T08:00:00-08:00"), "time_without_offset")
        try:
            moment = dt.datetime.fromisoformat(value.upper().replace(" ", "T"))
            moment.astimezone(dt.UTC)
        except (ValueError, OverflowError):
            raise wrong(_("there is no such moment")) from None
        if not 1900 <= moment.year <= 2200:
            raise wrong(_("the year lies outside 1900 to 2200"), "out_of_range")
        now = self.context.get("now")
        if self.past and now is not None and moment > now + AHEAD:
            raise wrong(_("this lies in the future: say when it happened"), "time_in_future")
        return moment

    def to_representation(self, value: dt.datetime) -> str:
        zone = self.context.get("zone", dt.UTC)
        return value.astimezone(zone).isoformat()


@extend_schema_field({"type": "string", "pattern": r"^-?\d+(\.\d+)?$", "examples": ["2.5"]})
class DecimalText(serializers.Field):
    """An exact decimal in plain digits, as text. `unit`: what its bounds are told in."""

    def __init__(
        self, *, least: str | None = None, most: str | None = None, unit: str = "", **kwargs: Any
    ) -> None:
        super().__init__(**kwargs)
        self.unit = unit
        self.least = None if least is None else Decimal(least)
        self.most = None if most is None else Decimal(most)

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            value = parse_decimal(data)
        except QuantityError as fault:
            raise wrong(of_engine(fault), fault.code) from None
        within(value, self.least, self.most, self.unit)
        return value

    def to_representation(self, value: Decimal) -> str:
        return plain(value)


QUANTITY_SCHEMA = {
    "type": "object",
    "required": ["value", "unit"],
    "additionalProperties": False,
    "properties": {
        "value": {
            "type": "string",
            "pattern": r"^-?\d+(\.\d+)?$",
            "description": "exact decimal, plain digits",
        },
        "unit": {"type": "string", "description": "name of the unit: `mL`, `gal`, `oz_wt`, `lb/acre` …"},
    },
    "examples": [{"value": "2.5", "unit": "tbsp"}],
}


EXAMPLE_UNITS = {"volume": "gal", "mass": "lb", "area": "acre", "length": "ft", "time": "h", "tree": "tree"}


@functools.cache
def quantity_schema(dimensions: tuple[str, ...]) -> dict[str, Any]:
    """Return how a quantity is described where only some dimensions make sense: with their units by name."""
    if not dimensions:
        return QUANTITY_SCHEMA
    schema: dict[str, Any] = copy.deepcopy(QUANTITY_SCHEMA)
    told = []
    for one in dimensions:
        units = ", ".join(f"`{name}`" for name in units_of(one))
        told.append(f"{one.replace('/', ' per ')}{', such as' if '/' in one else ':'} {units}")
    schema["properties"]["unit"]["description"] = "; or ".join(told)
    schema["examples"] = [{"value": "2.5", "unit": units_of(dimensions[0])[0]}]
    return schema


def units_of(dimension: str) -> list[str]:
    """Return the units of a dimension by name; of a rate, whose units are made of two, one that is."""
    named = [*SIMPLE.get(dimension, ()), *(name for name, (of, _f) in COMPOUND.items() if of == dimension)]
    above, _slash, below = dimension.partition("/")
    return named or [f"{EXAMPLE_UNITS[above]}/{EXAMPLE_UNITS[below]}"]


@extend_schema_field(QUANTITY_SCHEMA)
class Amount(serializers.Field):
    """A quantity `{"value": "2.5", "unit": "tbsp"}` of the dimensions that make sense here.

    :param dimensions: as in `mixing.quantities` (`volume`, `mass/area` …)
    :param sign: `positive` (above zero), `zero` (zero or above), `any`
    """

    def __init__(self, *dimensions: str, sign: str = "positive", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.dimensions = dimensions or None
        self.sign = sign
        self._spectacular_annotation = {"field": quantity_schema(dimensions)}

    def to_internal_value(self, data: Any) -> Quantity:
        faults = list(quantity_faults(data, dimensions=self.dimensions))
        if faults:
            raise ValidationError(nested(faults))
        value = Decimal(data["value"])
        if (self.sign == "positive" and value <= 0) or (self.sign == "zero" and value < 0):
            words = _("has to be above zero") if self.sign == "positive" else _("has to be zero or more")
            raise ValidationError({"value": [ErrorDetail(words, code="out_of_range")]})
        return Quantity(value, data["unit"])

    def to_representation(self, value: Quantity) -> dict[str, str]:
        return value.as_json()


def nested(faults: Sequence[QuantityError]) -> dict[str, list[ErrorDetail]] | list[ErrorDetail]:
    """Return the faults of a quantity by the field they are in."""
    if any(not fault.field for fault in faults):
        return [ErrorDetail(of_engine(fault), code=fault.code) for fault in faults]
    shown: dict[str, list[ErrorDetail]] = {}
    for fault in faults:
        shown.setdefault(fault.field, []).append(ErrorDetail(of_engine(fault), code=fault.code))
    return shown


@extend_schema_field(OpenApiTypes.UUID)
class Id(serializers.Field):
    """An id: a UUID in its usual form. `made_here=True`: one that a client makes, UUIDv7."""

    def __init__(self, *, made_here: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.made_here = made_here

    def to_internal_value(self, data: Any) -> uuid.UUID:
        try:
            found = uuid.UUID(data) if isinstance(data, str) and len(data) == 36 else None
        except ValueError:
            found = None
        if found is None:
            raise wrong(_("is an id, such as 0197e4a2-7c1e-7a3b-9d52-0c8f3a6b1e11"))
        if self.made_here and (found.version != 7 or found.variant != uuid.RFC_4122):
            raise wrong(_("an id that you make is a UUIDv7 (RFC 9562)"))
        return found

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "id", value))


class Reference(Id):
    """The id of another row of the same farm; read back as that row.

    :param rows: the farm's rows it may name: `queries.workers`, called with `farm=`
    """

    def __init__(self, rows: Callable[..., QuerySet[Any]], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.rows = rows

    def to_internal_value(self, data: Any) -> Model:  # type: ignore[override]
        wanted = super().to_internal_value(data)
        found = self.rows(farm=self.context["farm"]).filter(id=wanted).first()
        if found is None:
            raise wrong(_("there is no such thing on this farm"), "not_found")
        return found


class Listed(serializers.ListField):
    """A list of at most 500 of one field, unless said."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 500)
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> list[Any]:
        if not isinstance(data, list):
            raise wrong(_("is a list"))
        return super().to_internal_value(data)


@extend_schema_field({"type": "object", "additionalProperties": True})
class Anything(serializers.JSONField):
    """An object that is written out as it is."""


class Input(serializers.Serializer):
    """A body: every field named, unknown ones refused, all faults at once."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            raise ValidationError({"": [ErrorDetail(_("is a JSON object"), code="invalid")]})
        faults: dict[str, Any] = {
            str(name): [ErrorDetail(self.unknown(str(name)), code="unknown_field")]
            for name in data
            if name not in self._declared_fields
        }
        if self.parent is not None and getattr(self.root, "partial", False):
            faults |= self._missing(data)
        try:
            values = super().to_internal_value(data)
        except ValidationError as error:
            assert isinstance(error.detail, dict)
            raise ValidationError({**faults, **error.detail}) from None
        if faults:
            raise ValidationError(faults)
        return values

    def _missing(self, data: Any) -> dict[str, Any]:
        """A change may leave a field out, but what it names is told whole; the framework asks for less."""
        return {
            str(field.field_name): [ErrorDetail(str(field.error_messages["required"]), code="required")]
            for field in self._writable_fields
            if field.required and field.field_name not in data
        }

    def unknown(self, name: str) -> str:
        """Return the sentence about a field that is not known."""
        facts = {"name": repr(name[:60]), "fields": ", ".join(self._declared_fields)}
        return _("there is no field %(name)s here: %(fields)s") % facts


class Query(Input):
    """The query of an address: unknown names are refused."""

    def get_fields(self) -> dict[str, Any]:
        """Return the fields to read: each is copied for each request, and a request names few of many."""
        asked = getattr(self, "initial_data", self._declared_fields)
        return {
            name: copy.deepcopy(field)
            for name, field in self._declared_fields.items()
            if name in asked or field.required or field.default is not serializers.empty
        }

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse an end before its beginning: an empty answer would read as if there were nothing.

        :raises Unprocessable: each of the two can be read, and together they are no time
        """
        for end in ("to", "until"):
            since, until = (self.fields.get(name) for name in ("from", end))
            if since is None or until is None or not {since.source, until.source} <= attrs.keys():
                continue
            raw = {"since": self.initial_data["from"], "until": self.initial_data[end], "end": end}
            to_its_end = getattr(until, "end", False) and DAY.match(raw["until"])  # the next midnight
            first, last = attrs[str(since.source)], attrs[str(until.source)]
            if first > last or (to_its_end and first == last):
                says = _("from=%(since)s lies after %(end)s=%(until)s: exchange the two") % raw
                raise Unprocessable(Fault("out_of_range", says, f"/{end}"))
        return attrs


class ListQuery(Query):
    """What every list takes."""

    limit = WholeAsked(
        min_value=1,
        max_value=500,
        unit=gettext_noop("rows"),
        required=False,
        help_text="rows a page, 1 to 500",
    )
    cursor = Text(max_length=1000, required=False, help_text="where the next page begins, from `next`")
    created_since = Moment(required=False, help_text="made at or after this moment")
    updated_since = Moment(required=False, help_text="changed at or after this moment")


class Flag(serializers.BooleanField):
    """true or false in an address."""


class ArchivedQuery(ListQuery):
    """What a list takes from which things can be put away."""

    archived = Flag(required=False, help_text="true: those that were put away as well")


def named(form: type[serializers.Serializer], name: str, field: serializers.Field) -> None:
    """Give a form a field whose name is no name in Python, such as `from`."""
    form._declared_fields[name] = field  # type: ignore[attr-defined]


def between(
    query: type[Query],
    field: type[serializers.Field],
    end: type[serializers.Field] | None = None,
    *,
    since: str,
    until: str,
) -> None:
    """Give a query `from` and `to`.

    :param since: what the service calls `from`
    :param until: what the service calls `to`
    """
    named(query, "from", field(required=False, source=since))
    named(query, "to", (end or field)(required=False, source=until))


class MadeBy(serializers.Serializer):
    """Who made it."""

    kind = serializers.ChoiceField(choices=["person", "token", "system"])
    id = serializers.UUIDField(allow_null=True)
    name = serializers.CharField()


class Shown(serializers.Serializer):
    """What every resource shows of itself."""

    id = Id(read_only=True, help_text="UUIDv7, unique within the farm")
    created_at = Moment(read_only=True)
    updated_at = Moment(read_only=True)
    created_by = serializers.SerializerMethodField(help_text="who made it")
    etag = serializers.CharField(read_only=True, help_text="entity tag of this version, for `If-Match`")
    url = serializers.SerializerMethodField(help_text="path of the resource")

    @extend_schema_field(MadeBy)
    def get_created_by(self, row: Any) -> dict[str, Any]:
        return {
            "kind": row.created_by_kind,
            "id": str(row.created_by_id) if row.created_by_id else None,
            "name": row.created_by_name,
        }

    def get_url(self, row: Any) -> str:
        return str(row.path)
