"""`manage.py score_forecast` as somebody runs it on folders of their own."""

import csv
import shutil

import pytest
from django.core.management import CommandError, call_command

from tests.scheduling.forecast.country import country, write

COLUMNS = (
    "station",
    "year",
    "species",
    "event",
    "lead_days",
    "issued_on",
    "predicted",
    "low80",
    "high80",
    "observed",
)


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    base, places = tmp_path_factory.mktemp("country"), country(places=8)
    write(places.only(range(5)), base / "train")
    write(places.only(range(5, 8)), base / "test")
    return base


def score(folders, *, test="test", leads="28,14,7"):
    out = folders / "out.csv"
    options = [f"--train={folders / 'train'}", f"--test={folders / test}", f"--leads={leads}", f"--out={out}"]
    call_command("score_forecast", *options)
    with out.open(newline="") as file:
        return list(csv.DictReader(file))


def test_it_writes_one_row_a_forecast_and_prints_how_far_off_they_were(folders, capsys):
    rows = score(folders)

    assert tuple(rows[0]) == COLUMNS
    assert {row["lead_days"] for row in rows} == {"28", "14", "7"}
    assert {row["station"] for row in rows} == {"place 05", "place 06", "place 07"}
    assert all(row["issued_on"] < row["low80"] <= row["predicted"] <= row["high80"] for row in rows)
    printed = capsys.readouterr().out
    assert "peach    first_bloom    14" in printed
    assert f"{len(rows)} forecasts for 3 places, by a fit to 5 others" in printed


def test_other_leads_may_be_asked_for(folders):
    assert {row["lead_days"] for row in score(folders, leads="10")} == {"10"}


@pytest.mark.parametrize("leads", ["", "soon", "0", "7,-1", "1.5"])
def test_leads_that_are_no_days_are_refused(folders, leads):
    with pytest.raises(CommandError, match="whole days"):
        score(folders, leads=leads)


def test_a_folder_without_observations_is_refused_by_name(folders, tmp_path):
    with pytest.raises(CommandError, match=r"observations\.csv"):
        call_command("score_forecast", train=folders / "train", test=tmp_path, out=tmp_path / "out.csv")


def test_slips_in_the_files_are_passed_over(folders):
    honest = score(folders)
    shutil.copytree(folders / "test", folders / "slips", dirs_exist_ok=True)
    with (folders / "slips" / "observations.csv").open("a") as file:
        file.write("place 05,2001,peach,first_bloom,2001-10-20\nplace 05,nought,peach,budburst,2001-03-01\n")
        file.write("place 05,2001,peach,petal_fall,2001-04-20\nplace 05\n")

    assert score(folders, test="slips") == honest
