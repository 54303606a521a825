"""Frost: the temperatures at which buds of a crop and stage are killed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from mixing.calculations import bare
from mixing.calculations.exact import Amount
from mixing.calculations.registry import calculation
from mixing.calculations.results import inner, measured, result
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import near

TEMPERATURE = ("temperature",)


@calculation(
    does="The temperatures that kill one bud in ten, and nine in ten, in half an hour.",
    inputs=(
        bare.word("crop", "peach, nectarine, apple, pear, apricot, cherry, plum"),
        bare.code_or_word("stage", "the BBCH code, or the trade's name such as first pink or tight cluster"),
    ),
    results=(
        measured("kills_10_percent", TEMPERATURE, "kills one bud in ten in 30 minutes"),
        result(
            "kills_90_percent",
            "kills nine buds in ten; null where the chart gives none",
            {"anyOf": [{"$ref": "#/$defs/quantity"}, {"type": "null"}]},
        ),
        inner("kills_90_percent", TEMPERATURE),
        result("stage", "the stage of the chart", {"type": "string"}),
    ),
    sources=("wsu-buds",),
    example={"crop": "peach", "stage": 57},
)
def critical_bud_temperature(sheet: Worksheet, *, crop: str, stage: str) -> Mapping[str, object]:
    """The row of the chart for the crop and the stage."""
    row = _row(sheet, _rows(sheet, crop), crop, stage)
    tenth = Amount(Fraction(row["kills_10"]), "degF")
    most = Amount(Fraction(row["kills_90"]), "degF") if "kills_90" in row else None
    codes = f"BBCH {row['from']}" + (f" - {row['to']}" if row["to"] != row["from"] else "")
    sheet.note(said("step.chart", crop=crop, stage=row["stage"], codes=codes))
    step = "step.kills_both" if most else "step.kills_tenth"
    sheet.note(said(step, tenth=tenth, most=most))
    return {
        "kills_10_percent": sheet.answer("kills_10_percent", tenth),
        "kills_90_percent": sheet.answer("kills_90_percent", most) if most else None,
        "stage": row["stage"],
    }


def _rows(sheet: Worksheet, crop: str) -> Sequence[Mapping[str, Any]]:
    chart = table("bud_temperatures")
    wanted = _plain(crop)
    wanted = chart["also"].get(wanted, wanted)
    if wanted not in chart["crops"]:
        names = [*chart["crops"], *chart["also"]]
        hint = near(wanted, names) or said("fault.it_has", names=", ".join(sorted(names)))
        sheet.refuse("crop", "not_found", said("fault.not_in_chart", name=repr(crop[:40]), hint=hint))
    rows: Sequence[Mapping[str, Any]] = chart["crops"][wanted]
    return rows


def _row(sheet: Worksheet, rows: Sequence[Mapping[str, Any]], crop: str, stage: str) -> Mapping[str, Any]:
    wanted = _plain(stage)
    names = {name: row for row in rows for name in (row["stage"], *row["also"])}
    found = names.get(wanted)
    if found is None and wanted.isascii() and wanted.isdigit():
        code = int(wanted)
        found = next((row for row in rows if row["from"] <= code <= row["to"]), None)
        if found is None:
            span = f"BBCH {rows[0]['from']} - {rows[-1]['to']}"
            sheet.refuse(
                "stage", "out_of_range", said("fault.stages_of_chart", crop=crop, span=span, stage=stage[:20])
            )
    if found is None:
        hint = near(wanted, names) or said("fault.it_has", names=", ".join(row["stage"] for row in rows))
        sheet.refuse("stage", "not_found", said("fault.not_in_chart", name=repr(stage[:40]), hint=hint))
    assert found is not None
    return found


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("½", "1/2").split())
