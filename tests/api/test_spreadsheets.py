"""What people wrote is text in a spreadsheet, whatever it begins with; a number stays one."""

import pytest

from orchard.api import spreadsheets


@pytest.mark.parametrize(
    "text",
    ['=HYPERLINK("http://x")', "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1+1", "-1e3", "- 1"],
)
def test_what_a_spreadsheet_would_run_is_shown_as_text(text):
    assert spreadsheets.cell(text) == f"'{text}"


@pytest.mark.parametrize("said", ["-2.5", "-0.001", "3", "Lower Peach", "a=b", "2026-12-18"])
def test_numbers_days_and_names_stay_as_they_are(said):
    assert spreadsheets.cell(said) == said
