from django.utils import translation

from orchard.api import wording
from orchard.api.problems import document
from orchard.api.refusals import Fault
from orchard.tasks.states import MOVES


def test_every_code_that_a_move_is_refused_with_has_its_spanish():
    codes = {code for move in MOVES.values() for demand in move.demands for code in demand.codes}

    assert codes - set(wording._table()["es"]["codes"]) == set()


def test_english_adds_nothing_and_an_unknown_language_is_english():

    for language in ("en", "de"):
        with translation.override(language):
            told = document(409, [Fault("crew_missing", "name a crew", "/crew")])
        assert told["errors"] == [{"pointer": "/crew", "code": "crew_missing", "detail": "name a crew"}]


def test_what_has_no_translation_stays_english_and_is_marked():
    with translation.override("es"):
        [told] = document(409, [Fault("of_tomorrow", "a new sentence")])["errors"]

    assert told["detail"] == "a new sentence" and told["untranslated"] is True
