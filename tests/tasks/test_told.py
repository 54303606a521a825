"""A sentence that is kept is said later in the language of whoever reads it."""

import datetime as dt
import json

from django.utils import translation

from orchard.tasks.told import Told, joined, said

HELP = joined([Told("add a crew"), Told("start on %(day)s", day=dt.date(2027, 1, 4))], "; ")


def test_it_is_its_english_sentence():
    assert HELP == "add a crew; start on Mon 4 Jan"


def test_it_is_kept_as_text_and_facts_and_said_in_spanish():
    kept = json.loads(json.dumps(HELP.as_json()))

    with translation.override("es"):
        assert said(kept) == "agregue una cuadrilla; empiece el lun 4 de enero"
    with translation.override("en"):
        assert said(kept) == HELP


def test_a_name_stands_in_place_of_an_id():
    told = Told("nobody has looked at the buds of %(block)s", block="017f")

    with translation.override("es"):
        assert said(told.as_json({"017f": "Lower terrace"})) == "nadie ha mirado las yemas de Lower terrace"


def test_what_the_catalogue_no_longer_has_is_said_in_english():
    with translation.override("es"):
        assert said({"text": "%(n)s of old", "facts": {"n": "2"}}) == "2 of old"
