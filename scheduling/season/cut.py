"""Cut the winter of the demonstration out of the full observations, the same bytes every time.

    python -m scheduling.season.cut --from DIR [--to DIR]

`DIR` holds `observations.csv` and `daily_weather.csv.gz` as described in the README beside this file.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import io
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

HERE = Path(__file__).parent
STATION = "여수"  # Yeosu, on the south coast of Korea
SPECIES = "peach"
SEASON = 2024
"""The year in which the buds open: the winter before it is the season of the demonstration."""
EARLIER = 20
"""Springs kept for fitting: enough for a spread, few enough that the climate is about today's."""
WINTER = (f"{SEASON - 1}-10-01", f"{SEASON}-04-30")
SPRING = ("01-01", "04-30")

WEATHER_COLUMNS = ("date", "tmin_c", "tmax_c", "rain_mm", "wind_ms", "rh_pct")
SPRING_COLUMNS = ("date", "tmin_c", "tmax_c")
BUD_COLUMNS = ("year", "event", "date")


def bud_dates(source: Path) -> Iterator[dict[str, str]]:
    """Yield the rows of the station's peach trees up to the season, as they stand."""
    with (source / "observations.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if (row["station"], row["species"]) == (STATION, SPECIES) and int(row["year"]) <= SEASON:
                yield row


def weather(source: Path) -> Iterator[dict[str, str]]:
    """Yield the station's daily weather, as it stands."""
    with gzip.open(source / "daily_weather.csv.gz", "rt", encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["station"] == STATION:
                yield row


def in_winter(row: dict[str, str]) -> bool:
    return WINTER[0] <= row["date"] <= WINTER[1]


def in_earlier_spring(row: dict[str, str]) -> bool:
    year, day = int(row["date"][:4]), row["date"][5:]
    return SEASON - EARLIER <= year < SEASON and SPRING[0] <= day <= SPRING[1]


def rendered(rows: Iterable[dict[str, str]], columns: Sequence[str]) -> bytes:
    """Return the rows in order as CSV with one kind of line end, so that the bytes are always the same."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(sorted(rows, key=lambda row: (row["date"], row.get("event", ""))))
    return text.getvalue().encode()


def cut(*, source: Path, target: Path) -> None:
    """Write the three files of the cut."""
    days = list(weather(source))
    files = {
        "weather.csv": rendered(filter(in_winter, days), WEATHER_COLUMNS),
        "earlier_springs.csv": rendered(filter(in_earlier_spring, days), SPRING_COLUMNS),
        "bud_dates.csv": rendered(bud_dates(source), BUD_COLUMNS),
    }
    for name, content in files.items():
        (target / name).write_bytes(content)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m scheduling.season.cut", description=__doc__)
    parser.add_argument("--from", dest="source", type=Path, required=True, help="folder of the full data")
    parser.add_argument("--to", dest="target", type=Path, default=HERE, help="folder to write to")
    arguments = parser.parse_args()
    cut(source=arguments.source, target=arguments.target)


if __name__ == "__main__":
    main()
