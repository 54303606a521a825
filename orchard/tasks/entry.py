"""May I go in? One plain answer for a block: until when not, why, and with what on where it has to be."""

from __future__ import annotations

import datetime as dt
from typing import Any

from mixing import catalogue
from orchard.blocks.models import Block
from orchard.tasks.papers import notices, wording

Json = dict[str, Any]


def answer(*, block: Block, now: dt.datetime) -> Json:
    """Return the answer for a block now, its sentence in the language that is active."""
    items = notices.notice(farm=block.farm, now=now, block=block.id)["items"]
    closed = [one for one in items if one["state"] != notices.OPEN]
    state = max((one["state"] for one in items), key=notices.SEVERITY.__getitem__, default=notices.OPEN)
    until = max((one["entry_allowed_from"] for one in closed if one["entry_allowed_from"]), default=None)
    worn = dict.fromkeys(code for one in closed for code in one["early_entry"])
    return {
        "block": str(block.id),
        "may_enter": not closed,
        "state": state,
        "until": until if state == notices.CLOSED else None,
        "zone": block.farm.zone,
        "says": _says(block, state, until),
        "because": [
            {
                "finished_at": one["finished_at"],
                "products": [product["name"] for product in one["products"]],
            }
            for one in closed
        ],
        "gear": [{"code": code, "says": catalogue.word("gear", code, wording.language())} for code in worn],
    }


def _says(block: Block, state: str, until: dt.datetime | None) -> str:
    parameters = {
        "block": block.name,
        "until": wording.moment(until, farm=block.farm),
        "zone": block.farm.zone,
    }
    return catalogue.render(f"entry.{state}", parameters, wording.language())
