"""How often each mode of action was used on a block in a season, and what labels and advice allow of it."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from mixing import chemistry, rulebook
from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.labels import Label
from mixing.limits.resistance import Code, Sprays, in_a_row
from mixing.reading import Reader
from mixing.rulebook import Rule
from orchard.blocks import queries as ground
from orchard.blocks.models import Block
from orchard.farms.models import Farm
from orchard.tasks import queries
from orchard.tasks.models import ApplicationRecord


@dataclass(frozen=True, slots=True)
class Ceiling:
    """What is allowed of a mode of action here, and how much of it is used up.

    :ivar basis: `label`, or that of a rule: `published`, `practice`
    :ivar whose: the product's name, or the id of the rule
    :ivar counts: `season`: days of spraying; `in_a_row`: the latest of them, with no other group between
    """

    basis: str
    whose: str
    counts: str
    used: int
    most: int

    @property
    def state(self) -> str:
        """Say how it stands: `open`, `reached` (the next would be one too many) or `passed`."""
        return "open" if self.used < self.most else "reached" if self.used == self.most else "passed"


@dataclass(frozen=True, slots=True)
class ProductUsed:
    """On how many days a product was used."""

    name: str
    used: int


@dataclass(frozen=True, slots=True)
class Group:
    """One mode of action on one block, such as FRAC 11; the tanks of one day are one application."""

    scheme: str
    code: str
    used: int
    in_a_row: int
    last_on: dt.date
    products: tuple[ProductUsed, ...]
    ceilings: tuple[Ceiling, ...]

    def says(self) -> list[str]:
        """Return a sentence for each ceiling that is reached or passed."""
        return [_said(self, one) for one in self.ceilings if one.state != "open"]


@dataclass(frozen=True, slots=True)
class Rotation:
    """One block's season.

    :ivar unknown: names of products whose mode of action neither label nor table tells: they count nowhere
    """

    block: Block
    groups: tuple[Group, ...]
    unknown: tuple[str, ...]


def rotations(*, farm: Farm, since: dt.date, until: dt.date, block: Block | None = None) -> list[Rotation]:
    """Return the rotation of each block that was sprayed, from a day to a day on the farm, both in."""
    zone = zoneinfo.ZoneInfo(farm.zone)
    begin, end = (
        dt.datetime.combine(day, dt.time(), tzinfo=zone) for day in (since, until + dt.timedelta(days=1))
    )
    blocks = [block] if block else list(ground.blocks(farm=farm).order_by("name", "id"))
    rows = queries.records(farm=farm, status="current", block__in=[one.key for one in blocks])
    rows = rows.filter(finished_at__gte=begin, finished_at__lt=end).order_by("finished_at", "id")
    records: dict[Any, list[ApplicationRecord]] = defaultdict(list)
    for record in rows:
        records[record.block_id].append(record)
    return [_rotation(one, records[one.key], zone) for one in blocks if records[one.key]]


@dataclass(frozen=True, slots=True)
class _Used:
    """One product of one record."""

    on: dt.date
    name: str
    label: Label | None

    @property
    def codes(self) -> frozenset[Code]:
        return chemistry.facts(self.label).codes if self.label else frozenset()


def _rotation(block: Block, records: Iterable[ApplicationRecord], zone: zoneinfo.ZoneInfo) -> Rotation:
    used = [one for record in records for one in _used(record, zone)]
    codes = sorted({code for one in used for code in one.codes})
    sprays = _sprays(used)
    unknown = sorted({one.name for one in used if not one.codes and _wants_a_group(one.label)})
    return Rotation(block, tuple(_group(block, code, used, sprays) for code in codes), tuple(unknown))


def _used(record: ApplicationRecord, zone: zoneinfo.ZoneInfo) -> Iterator[_Used]:
    on = record.finished_at.astimezone(zone).date()
    for product in record.body["products"]:
        yield _Used(on, product["name"], read_label(product["label"], TOP, Reader()))


def _wants_a_group(label: Label | None) -> bool:
    """Say whether it is more than a helper in the tank: an adjuvant acts on no pest."""
    return label is None or (label.adjuvant is None and label.active_ingredients != ())


def _sprays(used: Iterable[_Used]) -> Sprays:
    """Return the modes of action of each day, the latest first, as the engine counts them."""
    days: dict[dt.date, frozenset[Code]] = {}
    for one in used:
        days[one.on] = days.get(one.on, frozenset()) | one.codes
    latest = max(days, default=dt.date.min)
    return tuple(((latest - day).days, codes) for day, codes in sorted(days.items(), reverse=True))


def _group(block: Block, code: Code, used: list[_Used], sprays: Sprays) -> Group:
    of_code = [one for one in used if code in one.codes]
    days = {one.on for one in of_code}
    by_product = {
        name: len({one.on for one in of_code if one.name == name})
        for name in sorted({u.name for u in of_code})
    }
    row = in_a_row(code, sprays)
    ceilings = [*_by_label(block, of_code, by_product), *_by_rule(block, code, of_code, len(days), row)]
    products = tuple(ProductUsed(name, used) for name, used in by_product.items())
    return Group(*code, len(days), row, max(days), products, tuple(ceilings))


def _by_label(block: Block, used: Iterable[_Used], days: dict[str, int]) -> Iterator[Ceiling]:
    """Yield what the labels allow on this crop; the latest label of a product counts."""
    latest = {one.name: one.label for one in used if one.label is not None}
    names = chemistry.names_of_crop(block.crop)
    for name, label in sorted(latest.items()):
        fitting = [
            use.maximum_applications
            for use in label.uses or ()
            if use.maximum_applications is not None
            and not names.isdisjoint(map(chemistry.crop_name, use.crops))
        ]
        if fitting:
            yield Ceiling("label", name, "season", days[name], min(fitting))


def _by_rule(block: Block, code: Code, used: Iterable[_Used], days: int, row: int) -> Iterator[Ceiling]:
    """Yield what is published of this mode of action on this crop."""
    book = rulebook.load()
    place = book.place(block.crop, None, (), block.farm.region)
    labels = [one.label for one in used if one.label is not None]
    rules: dict[str, Rule] = {
        rule.id: rule
        for label in labels
        for rule in book.of_product(chemistry.facts(label), place).resistance
        if code[0] == rule.when.scheme and (rule.when.codes is None or code[1] in rule.when.codes)
    }
    for id, rule in sorted(rules.items()):
        if rule.when.in_a_row is not None:
            yield Ceiling(rule.basis.value, id, "in_a_row", row, rule.when.in_a_row)
        elif rule.when.in_a_year is not None:
            yield Ceiling(rule.basis.value, id, "season", days, rule.when.in_a_year)


def _said(group: Group, ceiling: Ceiling) -> str:
    about = {
        "group": f"{group.scheme} {group.code}",
        "used": ceiling.used,
        "most": ceiling.most,
        "product": ceiling.whose,
    }
    by_label, reached = ceiling.basis == "label", ceiling.state == "reached"
    if by_label and reached:
        return _("%(product)s was used %(used)s times, all that its label allows: use another group.") % about
    if by_label:
        return _("%(product)s was used %(used)s times; its label allows %(most)s.") % about
    if reached:
        return (
            _("%(group)s was used %(used)s times, all that is advised against resistance: use another group.")
            % about
        )
    return _("%(group)s was used %(used)s times; %(most)s are advised at most against resistance.") % about
