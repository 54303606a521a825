"""Reading a CSV file that somebody's spreadsheet saved: every fault by row and column, nothing guessed.

The rule of encodings: UTF-8, with or without its mark, and UTF-16 with its mark are read; Windows-1252 only
where the sender says so (`charset=windows-1252`), since its bytes mean other letters elsewhere; who says ISO
8859-1 means the same (Encoding Standard, WHATWG, section 4.2). All else is refused. The separator is the one
of comma, semicolon and tab that the header has most of.
"""

from __future__ import annotations

import codecs
import csv
import difflib
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from orchard.api.refusals import Fault, Unprocessable
from orchard.api.spreadsheets import FORMULA

DECLARED = {
    "": "utf-8",
    "utf-8": "utf-8",
    "utf8": "utf-8",
    "utf-16": "utf-16",
    "us-ascii": "utf-8",
    "windows-1252": "cp1252",
    "cp1252": "cp1252",
    "iso-8859-1": "cp1252",
    "latin1": "cp1252",
}
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
SEPARATORS = ",;\t"
MOST_ROWS = 1000
LONGEST = 2000


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a file."""

    name: str
    required: bool = False
    number: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One row: `number` as a spreadsheet counts it, the header is row 1; empty cells are left out."""

    number: int
    cells: Mapping[str, str]


def at(row: int, column: str = "") -> str:
    """Return the pointer to a cell, or to a row."""
    return f"/rows/{row}/{column}" if column else f"/rows/{row}"


def read(raw: bytes, *, charset: str, columns: Sequence[Column]) -> tuple[list[Row], list[Fault]]:
    """Return the rows of a file and the faults of its cells; a row with a fault is returned without the cell.

    :param charset: as the sender declared it, empty for none
    :raises Unprocessable: where it cannot be read as a table at all
    """
    table = _table(decoded(raw, charset=charset))
    if not table:
        raise Unprocessable(Fault("required", _("the file is empty: its first row names the columns"), at(1)))
    header = [cell.strip().lower() for cell in table[0]]
    _refuse_header(header, columns)
    if len(table) - 1 > MOST_ROWS:
        detail = _("a file holds at most %(most)s rows, this one has %(here)s: cut it up") % {
            "most": MOST_ROWS,
            "here": len(table) - 1,
        }
        raise Unprocessable(Fault("out_of_range", detail, at(MOST_ROWS + 2)))
    rows, faults = [], []
    for number, cells in enumerate(table[1:], 2):
        if any(cell.strip() for cell in cells):
            row, wrong = _row(number, header, cells, {column.name: column for column in columns})
            rows.append(row)
            faults += wrong
    if not rows:
        faults.append(Fault("required", _("there is no row below the header"), at(2)))
    return rows, faults


def decoded(raw: bytes, *, charset: str) -> str:
    """Return the text of a file.

    :raises Unprocessable: `encoding_unknown`, with the row of the first byte that does not fit
    """
    encoding = DECLARED.get(charset.strip().strip('"').lower())
    if encoding is None:
        detail = _("charset %(charset)s is not read here: save the file as UTF-8") % {
            "charset": repr(charset[:40])
        }
        raise Unprocessable(Fault("encoding_unknown", detail))
    encoding = next((found for mark, found in MARKS if raw.startswith(mark)), encoding)
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as wrong:
        row = raw[: wrong.start].count(b"\n") + 1
        detail = _(
            "byte %(byte)s in line %(row)s is not %(encoding)s: save the file as UTF-8, or say "
            "charset=windows-1252 in the Content-Type if that is what it is"
        ) % {"byte": f"{raw[wrong.start]:#04x}", "row": row, "encoding": encoding.upper()}
        raise Unprocessable(Fault("encoding_unknown", detail, at(row))) from None
    if "\x00" in text:
        row = text.partition("\x00")[0].count("\n") + 1
        detail = _("it holds NUL characters: UTF-16 is read only with its byte order mark; save it as UTF-8")
        raise Unprocessable(Fault("encoding_unknown", detail, at(row)))
    return text


def _table(text: str) -> list[list[str]]:
    first = text.partition("\n")[0]
    separator = max(SEPARATORS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[list[str]] = []
    try:
        for cells in reader:
            rows.append(cells)
    except csv.Error as wrong:
        detail = _("line %(line)s cannot be read: %(wrong)s") % {
            "line": reader.line_num,
            "wrong": wrong,
        }
        raise Unprocessable(Fault("invalid", detail, at(len(rows) + 1))) from None
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    return rows


def _refuse_header(header: Sequence[str], columns: Sequence[Column]) -> None:
    faults = list(_header_faults(header, [column.name for column in columns]))
    faults += [
        Fault("required", _("the column %(column)s is missing") % {"column": column.name}, at(1, column.name))
        for column in columns
        if column.required and column.name not in header
    ]
    if faults:
        raise Unprocessable(*faults)


def _header_faults(header: Sequence[str], known: Sequence[str]) -> Iterator[Fault]:
    for place, name in enumerate(header):
        pointer = at(1, name[:60] or str(place + 1))
        if name in header[:place]:
            yield Fault(
                "invalid",
                _("the column %(name)s stands in it twice") % {"name": name[:60] or place + 1},
                pointer,
            )
        elif name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            facts = {"name": repr(name[:60]), "known": near[0] if near else ", ".join(known)}
            if near:
                says = _("there is no column %(name)s: did you mean %(known)s?") % facts
            else:
                says = _("there is no column %(name)s: the columns are %(known)s") % facts
            yield Fault("unknown_field", says, pointer)


def _row(
    number: int, header: Sequence[str], cells: Sequence[str], columns: Mapping[str, Column]
) -> tuple[Row, list[Fault]]:
    if len(cells) != len(header):
        detail = _(
            "row %(number)s has %(cells)s cells and the header %(header)s: is a text with commas in quotes?"
        ) % {
            "number": number,
            "cells": len(cells),
            "header": len(header),
        }
        return Row(number, {}), [Fault("invalid", detail, at(number))]
    found, faults = {}, []
    for name, raw in zip(header, cells, strict=True):
        cell = raw.strip()
        fault = _cell_fault(cell, columns[name], number)
        if fault is not None:
            faults.append(fault)
        elif cell:
            found[name] = cell[1:] if cell[0] == "'" and cell[1:].startswith(FORMULA) else cell
        elif columns[name].required:
            detail = _("row %(number)s: the %(name)s is missing") % {"number": number, "name": name}
            faults.append(Fault("required", detail, at(number, name)))
    return Row(number, found), faults


def _cell_fault(cell: str, column: Column, number: int) -> Fault | None:
    pointer = at(number, column.name)
    if len(cell) > LONGEST:
        detail = _("row %(number)s: a cell holds at most %(most)s characters") % {
            "number": number,
            "most": LONGEST,
        }
        return Fault("out_of_range", detail, pointer)
    if not column.number and cell.startswith(FORMULA):
        detail = _("row %(number)s: %(column)s begins like a formula (%(cell)s): put ' before it") % {
            "number": number,
            "column": column.name,
            "cell": repr(cell[:1]),
        }
        return Fault("formula", detail, pointer)
    return None
