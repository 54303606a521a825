"""Telephone numbers on the pages of an emergency can be touched."""

from __future__ import annotations

import pytest

from orchard.web.templatetags.telephone import to_call


@pytest.mark.parametrize(
    ("written", "called"),
    [
        ("911", ["911"]),
        ("Call 112, then the owner +1 (559) 555-0142.", ["112", "+15595550142"]),
        ("Poison centre: 1-800-555-0199", ["18005550199"]),
        ("559.555.0142", ["5595550142"]),
        ("911 or 112", ["911", "112"]),
        ("Gate 4, Road 22, 93230", []),
        ("450 Mill Road, 1200 Hill Road", []),
        ("the house stands at 38.00025, -119.99975", []),
        ("changed on 2026-11-26", []),
        ("ask Teo", []),
    ],
)
def test_each_number_is_a_link_that_calls_it_and_a_gate_is_none(written, called):
    shown = to_call(written)

    assert [one.split('"')[0] for one in shown.split('href="tel:')[1:]] == called


def test_what_a_farm_wrote_beside_the_number_stays_text():
    shown = to_call('<script>alert("x")</script> 911 & out')

    assert "<script>" not in shown
    assert shown.endswith('<a href="tel:911">911</a> &amp; out')
