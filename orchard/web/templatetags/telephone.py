"""Numbers to call inside what a farm wrote: a hurt person's mate touches them and need not type them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

register = template.Library()
NUMBER = re.compile(r"(?<![\w.,])\+?\(?\d(?:[ ().-]{0,2}\d)+(?![\w])")
SHORT, FEWEST, MOST = 3, 7, 15
"""Digits: three as in 911 and 112, else seven to fifteen, at most by Recommendation E.164, ITU-T, 2010."""
HOUSE = re.compile(r" [A-ZÁÉÍÓÚÑ]")
PLACE_OR_DAY = re.compile(r"\d{1,3}\.\d{4,}|\d{4}-\d\d-\d\d")


@register.filter
def to_call(text: str) -> SafeString:
    """Return a text with each telephone number as a link that calls it; all else is escaped."""
    return format_html_join("", "{}", ((one,) for one in _parts(text)))


def _parts(text: str) -> Iterator[str]:
    end = 0
    for found in NUMBER.finditer(text):
        if _calls_somebody(found[0], before=text[found.end() :]):
            number = re.sub(r"[^\d+]", "", found[0])
            yield text[end : found.start()]
            yield format_html('<a href="tel:{}">{}</a>', number, found[0])
            end = found.end()
    yield text[end:]


def _calls_somebody(number: str, *, before: str) -> bool:
    """Return whether digits are a telephone and not a house (450 Mill Road), a place on the map or a day."""
    digits = len(re.sub(r"\D", "", number))
    if digits == SHORT:
        return HOUSE.match(before) is None
    return FEWEST <= digits <= MOST and PLACE_OR_DAY.fullmatch(number) is None
