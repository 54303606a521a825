"""Columns that keep an amount as it was said: a decimal and its unit, in one text such as `2.5 gal`."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import models

from mixing.quantities import Quantity, plain


class QuantityColumn(models.CharField):
    """Keeps a `mixing.quantities.Quantity` exactly, with the unit that the person used."""

    description = "an exact amount with its unit"
    _pyi_private_set_type: Quantity  # type: ignore[assignment]  # the type of the column
    _pyi_private_get_type: Quantity  # type: ignore[assignment]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 60)
        super().__init__(*args, **kwargs)

    def from_db_value(self, value: str | None, expression: Any, connection: Any) -> Quantity | None:
        return self.to_python(value)

    def to_python(self, value: Any) -> Quantity | None:
        if value is None or isinstance(value, Quantity):
            return value
        amount, _, unit = str(value).partition(" ")
        return Quantity(Decimal(amount), unit)

    def get_prep_value(self, value: Any) -> str | None:
        if value is None or isinstance(value, str):
            return value
        return f"{plain(value.value, 20)} {value.unit}"

    def value_to_string(self, obj: models.Model) -> str:
        return self.get_prep_value(self.value_from_object(obj)) or ""


class BaseAmount(models.DecimalField):
    """An exact amount in base units (g, mL or count), wide enough for what any unit turns into."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["max_digits"], kwargs["decimal_places"] = 45, 20
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        name, path, args, kwargs = super().deconstruct()
        del kwargs["max_digits"], kwargs["decimal_places"]
        return name, path, args, kwargs
