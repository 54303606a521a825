"""Calibration: speed, flow, pressure and the rate that they give."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from mixing.calculations import fields
from mixing.calculations.exact import Amount, brief, is_us, of_base
from mixing.calculations.registry import calculation
from mixing.calculations.results import measured
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.reading import LENGTH, SPEED, TIME, VOLUME, VOLUME_PER_AREA

FLOW, PRESSURE = ("volume/time",), ("pressure",)

FLOW_FIELD = fields.quantity(
    "flow", FLOW, "of one nozzle, with `spacing`; of all nozzles together, with `swath`"
)
SPEED_FIELD = fields.quantity("speed", SPEED, "the speed over the ground")
SPACING = fields.quantity("spacing", LENGTH, "between the nozzles of a boom").optional()
SWATH = fields.quantity(
    "swath", LENGTH, "the width sprayed in one pass; the row spacing of an orchard"
).optional()
WAYS = ((("spacing",), ("swath",)),)


def _ground_a_minute(sheet: Worksheet, speed: Amount, width: Amount, *, us: bool) -> Fraction:
    """Return the ground covered in a minute [acre or ha], written down step by step."""
    length, area, side = ("ft", "acre", Fraction(43560)) if us else ("m", "ha", Fraction(10000))
    pace = of_base(speed.base * 60, length)
    wide = sheet.turn(width, length)
    sheet.note(said("step.pace", speed=speed, pace=brief(pace.value), length=length))
    ground = pace.value * wide.value / side
    sheet.note(
        said(
            "step.covered",
            pace=brief(pace.value),
            width=brief(wide.value),
            side=brief(side),
            ground=brief(ground),
            area=area,
        )
    )
    return ground


@calculation(
    does="The spray per area that a flow, a width and a speed give.",
    inputs=(FLOW_FIELD, SPEED_FIELD, SPACING, SWATH),
    results=(measured("rate", VOLUME_PER_AREA, "the spray per area"),),
    sources=("nozzle-5940", "airblast-495"),
    example={
        "flow": {"value": "0.4", "unit": "gal/min"},
        "speed": {"value": "5", "unit": "mph"},
        "spacing": {"value": "20", "unit": "in"},
    },
    ways=WAYS,
)
def application_rate(
    sheet: Worksheet,
    *,
    flow: Amount,
    speed: Amount,
    spacing: Amount | None = None,
    swath: Amount | None = None,
) -> Mapping[str, object]:
    """rate = flow / (speed x width); in gal/min, mph and in it is flow x 5940 / (speed x spacing)."""
    width = spacing or swath
    assert width is not None
    us = is_us(flow.unit)
    ground = _ground_a_minute(sheet, speed, width, us=us)
    here = sheet.turn(flow, "gal/min" if us else "L/min")
    rate = Amount(here.value / ground, "gal/acre" if us else "L/ha")
    sheet.note(
        said("step.rate_by_flow", flow=here, ground=brief(ground), area="acre" if us else "ha", rate=rate)
    )
    return {"rate": sheet.answer("rate", rate), "source": "nozzle-5940" if spacing else "airblast-495"}


@calculation(
    does="The flow that a rate, a speed and a width need: of one nozzle, or of all together.",
    inputs=(
        fields.spray_per_area("rate", "the spray per area that is wanted"),
        SPEED_FIELD,
        SPACING,
        SWATH,
    ),
    results=(measured("flow", FLOW, "of one nozzle, by `spacing`; of all together, by `swath`"),),
    sources=("nozzle-5940", "airblast-495"),
    example={
        "rate": {"value": "100", "unit": "gal/acre"},
        "speed": {"value": "2.5", "unit": "mph"},
        "swath": {"value": "18", "unit": "ft"},
    },
    ways=WAYS,
)
def nozzle_flow(
    sheet: Worksheet,
    *,
    rate: Amount,
    speed: Amount,
    spacing: Amount | None = None,
    swath: Amount | None = None,
) -> Mapping[str, object]:
    """flow = rate x speed x width; in gal/acre, mph and ft it is rate x speed x row / 495."""
    width = spacing or swath
    assert width is not None
    us = is_us(rate.unit)
    ground = _ground_a_minute(sheet, speed, width, us=us)
    here = sheet.turn(rate, "gal/acre" if us else "L/ha")
    flow = Amount(here.value * ground, "gal/min" if us else "L/min")
    sheet.note(
        said("step.flow_by_rate", rate=here, ground=brief(ground), area="acre" if us else "ha", flow=flow)
    )
    return {"flow": sheet.answer("flow", flow), "source": "nozzle-5940" if spacing else "airblast-495"}


@calculation(
    does="The speed over a measured distance.",
    inputs=(
        fields.quantity("distance", LENGTH, "the measured distance"),
        fields.quantity("time", TIME, "the time taken for it"),
    ),
    results=(measured("speed", SPEED, "the speed"),),
    sources=("nebraska-math",),
    example={"distance": {"value": "200", "unit": "ft"}, "time": {"value": "54.5", "unit": "s"}},
)
def ground_speed(sheet: Worksheet, *, distance: Amount, time: Amount) -> Mapping[str, object]:
    """speed = distance / time; 88 feet a minute is 1 mph."""
    us = is_us(distance.unit)
    length, name, each = ("ft", "mph", Fraction(88)) if us else ("m", "km/h", Fraction(1000, 60))
    here, minutes = sheet.turn(distance, length), sheet.turn(time, "min")
    pace = here.value / minutes.value
    sheet.note(said("step.way_a_minute", way=here, minutes=minutes, pace=brief(pace), length=length))
    speed = Amount(pace / each, name)
    sheet.note(said("step.speed", pace=brief(pace), each=brief(each), length=length, unit=name, speed=speed))
    return {"speed": sheet.answer("speed", speed)}


@calculation(
    does="The time that a volume of spray takes at a flow.",
    inputs=(
        fields.quantity("volume", VOLUME, "the spray"),
        fields.quantity("flow", FLOW, "of the gun, or of all nozzles together"),
    ),
    results=(measured("time", TIME, "the time of spraying, without refills"),),
    sources=("psu-per-tree",),
    example={"volume": {"value": "0.0826", "unit": "gal"}, "flow": {"value": "0.3", "unit": "gal/min"}},
)
def spraying_time(sheet: Worksheet, *, volume: Amount, flow: Amount) -> Mapping[str, object]:
    """time = volume / flow."""
    here = sheet.turn(volume, flow.unit.partition("/")[0])
    time = Amount(here.value / flow.value, "min")
    sheet.note(f"{here} ÷ {flow} = {time}")
    return {"time": sheet.answer("time", time)}


@calculation(
    does="The spray per area from a plot that was sprayed with water and a catch of the nozzle.",
    inputs=(
        fields.quantity("plot_length", LENGTH, "of the plot"),
        fields.quantity("plot_width", LENGTH, "of the plot"),
        fields.quantity("time", TIME, "to spray the plot"),
        fields.quantity("catch_volume", VOLUME, "what was caught"),
        fields.quantity("catch_time", TIME, "how long it was caught for"),
    ),
    results=(measured("rate", VOLUME_PER_AREA, "the spray per area"),),
    sources=("larimer-128th",),
    example={
        "plot_length": {"value": "18.5", "unit": "ft"},
        "plot_width": {"value": "18.5", "unit": "ft"},
        "time": {"value": "75", "unit": "s"},
        "catch_volume": {"value": "150", "unit": "fl_oz"},
        "catch_time": {"value": "75", "unit": "s"},
    },
)
def plot_calibration(
    sheet: Worksheet,
    *,
    plot_length: Amount,
    plot_width: Amount,
    time: Amount,
    catch_volume: Amount,
    catch_time: Amount,
) -> Mapping[str, object]:
    """rate = catch x time / catch time / plot; fl_oz from 1/128 acre read as gal/acre."""
    us = is_us(catch_volume.unit)
    length, side, volume, area = ("ft", 43560, "gal", "acre") if us else ("m", 10000, "L", "ha")
    long, wide = sheet.turn(plot_length, length), sheet.turn(plot_width, length)
    ground = Amount(long.value * wide.value / side, area)
    sheet.note(f"{long} × {wide} ÷ {side} = {ground}")
    share = time.base / catch_time.base
    used = Amount(catch_volume.value * share, catch_volume.unit)
    sheet.note(said("step.on_the_plot", caught=catch_volume, time=time, catch_time=catch_time, used=used))
    here = sheet.turn(used, volume)
    rate = Amount(here.value / ground.value, f"{volume}/{area}")
    sheet.note(f"{here} ÷ {ground} = {rate}")
    return {"rate": sheet.answer("rate", rate)}


@calculation(
    does="The pressure at which a nozzle gives another flow: flow grows with the square root of pressure.",
    inputs=(
        fields.quantity("flow", FLOW, "the flow at the known pressure"),
        fields.quantity("pressure", PRESSURE, "the known pressure"),
        fields.quantity("wanted_flow", FLOW, "the flow that is wanted"),
    ),
    results=(measured("pressure", PRESSURE, "the pressure for the wanted flow"),),
    sources=("square-root-law",),
    example={
        "flow": {"value": "0.4", "unit": "gal/min"},
        "pressure": {"value": "40", "unit": "psi"},
        "wanted_flow": {"value": "0.5", "unit": "gal/min"},
    },
)
def pressure_for_flow(
    sheet: Worksheet, *, flow: Amount, pressure: Amount, wanted_flow: Amount
) -> Mapping[str, object]:
    """pressure = known pressure x (wanted flow / known flow) squared."""
    here = sheet.turn(wanted_flow, flow.unit)
    ratio = here.value / flow.value
    wanted = Amount(pressure.value * ratio**2, pressure.unit)
    sheet.note(f"{here} ÷ {flow} = {brief(ratio)}")
    sheet.note(f"{pressure} × {brief(ratio)} × {brief(ratio)} = {wanted}")
    return {"pressure": sheet.answer("pressure", wanted)}
