"""Infection risk from the weather, by the published rule of each disease; every condition is shown."""

from __future__ import annotations

from collections.abc import Mapping

from mixing.calculations import bare, fields, infection, lists
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import result
from mixing.calculations.sources import table
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import TOP, Faults, joined
from mixing.reading import LENGTH, TIME

NEEDS: Mapping[str, tuple[str, ...]] = {
    "leaf_curl": ("rain", "wetness", "temperature"),
    "apple_scab": ("temperature",),
    "fire_blight": ("blossom_open", "mean_temperature"),
}
TAKES: Mapping[str, tuple[str, ...]] = {
    "leaf_curl": ("rain", "wetness", "temperature", "incubation_temperature"),
    "apple_scab": ("wetness", "wet_periods", "temperature"),
    "fire_blight": (
        "blossom_open",
        "degree_hours",
        "hours",
        "dew",
        "rain",
        "rain_day_before",
        "mean_temperature",
    ),
}
RISKS = ("low", "moderate", "high", "infection")


def _weather_fits_disease(given: Given, faults: Faults) -> None:
    """The fields that the rule needs are there, and none that it does not know."""
    disease = given.values.get("disease")
    if not isinstance(disease, str):
        return
    for name in NEEDS[disease]:
        if not given.has(name):
            faults.add((TOP, name), "required", said("fault.rule_needs", disease=disease, name=name))
    for name in sorted(given.names - {"disease", "in"} - set(TAKES[disease])):
        faults.add(
            (TOP, name),
            "invalid",
            said("fault.rule_takes", disease=disease, taken=", ".join(TAKES[disease]), name=name),
        )
    for group in EITHER.get(disease, ()):
        _either(group, disease, given, faults)


EITHER: Mapping[str, tuple[tuple[tuple[str, ...], bool], ...]] = {
    "apple_scab": ((("wetness", "wet_periods"), True),),
    "fire_blight": ((("degree_hours", "hours"), True), (("dew", "rain", "rain_day_before"), False)),
}
"""Fields of which one is needed; True where more than one could contradict each other."""


def _either(group: tuple[tuple[str, ...], bool], disease: str, given: Given, faults: Faults) -> None:
    names, only_one = group
    there = [name for name in names if given.has(name)]
    if not there:
        faults.add(
            (TOP, names[0]),
            "required",
            said("fault.rule_needs", disease=disease, name=joined("fault.or", names)),
        )
    elif only_one and len(there) > 1:
        faults.add((TOP, there[1]), "invalid", said("fault.not_both", names=joined("fault.or", names)))


WET_PERIOD = lists.record(
    "wet_periods",
    "a wet period",
    (
        fields.quantity("wet", TIME, "how long leaves were wet"),
        fields.interval("dry_before", "how long they were dry since the wet period before").optional(),
    ),
)


@calculation(
    does="Whether the weather was fit for an infection by peach leaf curl, apple scab or fire blight.",
    inputs=(
        bare.choice("disease", "which rule to use", tuple(NEEDS)),
        fields.quantity(
            "rain",
            LENGTH,
            "leaf curl: rain that began the wet period; fire blight: rain of the day",
            zero=True,
        ).optional(),
        fields.interval(
            "wetness",
            "leaf curl, apple scab: how long leaves stayed wet; scab counts rain of the night from 07:00",
        ).optional(),
        lists.many(
            "wet_periods", "apple scab: wet periods in order, in place of `wetness`", WET_PERIOD
        ).optional(),
        fields.temperature("temperature", "leaf curl, apple scab: the mean while wet").optional(),
        fields.temperature(
            "incubation_temperature", "leaf curl: the mean from the wet period until symptoms, once known"
        ).optional(),
        bare.flag("blossom_open", "fire blight: flowers are open, stigmas exposed, petals on").optional(),
        bare.number(
            "degree_hours", "fire blight: degF x h above 65 degF since the oldest open flower opened", low=0
        ).optional(),
        lists.degrees().optional("fire blight: hourly temperatures since then, in place of `degree_hours`"),
        bare.flag("dew", "fire blight: dew wetted the flowers").optional(),
        fields.quantity(
            "rain_day_before", LENGTH, "fire blight: rain of the day before", zero=True
        ).optional(),
        fields.temperature("mean_temperature", "fire blight: the mean of the day").optional(),
    ),
    results=(
        result(
            "risk",
            "`infection` where every condition of the rule is met; fire blight counts `high`, `moderate`",
            {"type": "string", "enum": list(RISKS)},
        ),
        result(
            "conditions",
            "each condition of the rule; `met` is null where it is not known yet",
            {
                "type": "array",
                "items": {
                    "type": "object",
                    "properties": {
                        "name": {"type": "string"},
                        "met": {"type": ["boolean", "null"]},
                        "value": {},
                        "limit": {},
                    },
                    "required": ["name", "met", "value", "limit"],
                },
            },
        ),
    ),
    sources=("rossi-2006", "scab-wvu", "blight-maryland"),
    example={
        "disease": "leaf_curl",
        "rain": {"value": "5", "unit": "mm"},
        "wetness": {"value": "14", "unit": "h"},
        "temperature": {"value": "9", "unit": "degC"},
    },
    relations=(_weather_fits_disease,),
)
def infection_risk(sheet: Worksheet, *, disease: str, **weather: object) -> Mapping[str, object]:
    """Each condition of the rule, and the risk that follows from how many are met."""
    given = Given(weather, frozenset(weather))
    conditions = infection.RULES[disease](sheet, given)
    for one in conditions:
        value, limit = infection.shown(one.value), infection.shown(one.limit)
        words = {"name": one.name, "value": value, "bound": limit, "answer": infection.verdict(one.met)}
        sheet.note(said("step.condition", **words))
    met = sum(one.met is not False for one in conditions)
    risk = infection.risk(disease, met, len(conditions))
    sheet.note(said("step.conditions", met=met, count=len(conditions), risk=risk))
    return {
        "risk": risk,
        "conditions": [one.as_json() for one in conditions],
        "source": table("infection")[disease]["source"],
    }
