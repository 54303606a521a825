"""Reading what a scanner sees on a package: GS1 element strings, with brackets or with FNC1 between them.

Source: GS1 General Specifications, release 24, sections 3.2 (application identifiers 01, 10, 11, 17), 7.8
(element strings of predefined length), 7.9 (check digit) and 7.12 (century and day 00 of dates), GS1, 2024;
from memory.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass

from django.utils.translation import gettext as _

FNC1 = "\x1d"
SYMBOLOGY = re.compile(r"\](?:C1|d2|Q3|e0|J1)")
BRACKETED = re.compile(r"\((\d{2,4})\)([^()]*)")
LOT_NUMBER = re.compile(r"""[!-"%-?A-Z_a-z]{1,20}""")
"""Character set 82, which a batch number is written in."""

WHOLE_LENGTH = {  # digits of the identifier and its value together, by the first two digits
    **dict.fromkeys(("01", "02", "03", "41"), 16),
    "00": 20,
    "04": 18,
    "20": 4,
    **{f"{two}": 8 for two in range(11, 20)},
    **{f"{two}": 10 for two in range(31, 37)},
}
READ = ("01", "10", "11", "17")
RUN_TOGETHER = re.compile(r"(.+)(11|17)(\d{6})", re.ASCII)
"""A lot and a date after it, where the scanner sent no FNC1 between them; or a lot that looks so."""
LIKELY_AHEAD, LIKELY_BEHIND = 15, 10
"""Years around today that a date on a package lies in. Common practice, no source."""
AHEAD, BEHIND = 50, 49
"""Two digits of a year stand for the year that lies at most 50 ahead and 49 behind."""


class Unreadable(ValueError):
    """What was scanned cannot be taken.

    :ivar code: `gs1_invalid` or `bad_check_digit`
    """

    def __init__(self, detail: str, code: str = "gs1_invalid") -> None:
        super().__init__(detail)
        self.code = code


@dataclass(frozen=True, slots=True)
class Scan:
    """What stands on a package."""

    gtin: str
    lot: str | None
    made_on: dt.date | None
    expires_on: dt.date | None


def read(text: str, *, today: dt.date) -> Scan:
    """Return what an element string says of a package; identifiers that are not ours are passed over.

    :param today: tells the century of its dates
    :raises Unreadable: for a text that is no element string, a date that is none, a wrong check digit

    >>> read("(01)09506000134352(17)280200(10)C-2305", today=dt.date(2026, 12, 1)).expires_on
    datetime.date(2028, 2, 29)
    """
    text = SYMBOLOGY.sub("", text.strip(), count=1)
    found = _with_brackets(text) if text.startswith("(") else _with_fnc1(text)
    if not text.startswith("("):
        _refuse_run_together(found, today)
    gtin = found.get("01")
    if gtin is None:
        raise Unreadable(_("there is no GTIN in it: (01) and 14 digits"))
    if not (len(gtin) == 14 and gtin.isascii() and gtin.isdigit()):
        raise Unreadable(_("the GTIN after (01) has 14 digits"))
    if not check_digit_is_right(gtin):
        raise Unreadable(
            _("the last digit of %(gtin)s is not its check digit: scan it again") % {"gtin": gtin},
            "bad_check_digit",
        )
    lot = found.get("10")
    if lot is not None and not LOT_NUMBER.fullmatch(lot):
        raise Unreadable(_("the lot after (10) has 1 to 20 letters, digits and signs"))
    return Scan(gtin, lot, _day(found.get("11"), "11", today), _day(found.get("17"), "17", today))


def check_digit_is_right(number: str) -> bool:
    """Return whether the last digit is the check digit of the others: weights 3 and 1 from the right.

    >>> check_digit_is_right("09506000134352"), check_digit_is_right("09506000134353")
    (True, False)
    """
    total = sum(int(digit) * (3 if at % 2 else 1) for at, digit in enumerate(reversed(number)))
    return total % 10 == 0


def _with_brackets(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    end = 0
    for match in BRACKETED.finditer(text):
        if match.start() != end:
            break
        _note(found, match[1], match[2].strip())
        end = match.end()
    if end != len(text):
        raise Unreadable(_("after each identifier in brackets, such as (10), stands its value"))
    return found


def _with_fnc1(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    text = text.replace("\u241d", FNC1).strip(FNC1)
    while text:
        if not (text[:2].isascii() and text[:2].isdigit() and len(text) > 2):
            raise Unreadable(_("it does not begin with an identifier of two digits, such as 01"))
        length = WHOLE_LENGTH.get(text[:2])
        if length is not None and len(text.partition(FNC1)[0]) < length:
            raise Unreadable(_("the value after %(text)s is too short") % {"text": text[:2]})
        part = text.partition(FNC1)[0] if length is None else text[:length]
        _note(found, part[:2], part[2:])
        text = text[len(part) :].lstrip(FNC1)
    return found


def _refuse_run_together(found: dict[str, str], today: dt.date) -> None:
    """Refuse a lot that may have swallowed the date after it: a jug without a last day never expires."""
    lot = found.get("10", "")
    if BRACKETED.search(lot):
        raise Unreadable(_("some identifiers stand in brackets and some do not: put all of them in brackets"))
    match = RUN_TOGETHER.fullmatch(lot)
    if match is None or match[2] in found:
        return
    try:
        day = _day(match[3], match[2], today)
    except Unreadable:
        return
    if day and -LIKELY_BEHIND <= day.year - today.year <= LIKELY_AHEAD:
        raise Unreadable(
            _(
                "the separator after the lot seems to be lost. Write what stands on the package in brackets:"
                " (10)%(lot)s(%(identifier)s)%(date)s, or (10)%(whole)s if that is the whole lot number"
            )
            % {"lot": match[1], "identifier": match[2], "date": match[3], "whole": lot}
        )


def _note(found: dict[str, str], identifier: str, value: str) -> None:
    if identifier in READ and found.setdefault(identifier, value) != value:
        raise Unreadable(
            _("(%(identifier)s) stands in it twice, with two values") % {"identifier": identifier}
        )


def _day(text: str | None, identifier: str, today: dt.date) -> dt.date | None:
    """Return the day that YYMMDD gives; day 00 is the last of the month."""
    if text is None:
        return None
    if not (len(text) == 6 and text.isascii() and text.isdigit()):
        raise Unreadable(
            _("the date after (%(identifier)s) has six digits, YYMMDD") % {"identifier": identifier}
        )
    year, month, day = today.year // 100 * 100 + int(text[:2]), int(text[2:4]), int(text[4:])
    if year - today.year > AHEAD:
        year -= 100
    elif today.year - year > BEHIND:
        year += 100
    try:
        return dt.date(year, month, day or calendar.monthrange(year, month)[1])
    except (ValueError, calendar.IllegalMonthError):
        raise Unreadable(
            _("(%(identifier)s) %(text)s is no day, written YYMMDD")
            % {"identifier": identifier, "text": text}
        ) from None
