"""One block: its forecast and its season as pictures with their numbers, and the review of the year."""

from __future__ import annotations

import datetime as dt
import uuid
import zoneinfo
from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.utils.module_loading import import_string
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from orchard.api.spoken import named
from orchard.blocks import outlook_words, queries
from orchard.tasks import review
from orchard.web.doors import Visit
from orchard.web.doors import farm_page as page

A_YEAR = dt.timedelta(days=364)


@page("season_review")
def block(visit: Visit, block: uuid.UUID) -> HttpResponse:
    """Show a block."""
    row = queries.blocks(farm=visit.farm).filter(id=block).first()
    if row is None:
        return visit.missing()
    today = visit.now.astimezone(zoneinfo.ZoneInfo(visit.farm.zone)).date()
    found = review.season_review(farm=visit.farm, since=today - A_YEAR, until=today, block=row)
    names = {"forecast": _("What is expected"), "season": _("The season so far")}
    drawn: dict[str, Any] = import_string(settings.BLOCK_PICTURES)(block=row)
    pictures = [
        # Our own drawing, its texts escaped where they are written.
        {"name": names[name], "svg": mark_safe(one.svg), "heads": one.heads, "rows": one.rows}
        for name, one in drawn.items()
    ]
    return visit.show(
        "web/office/block.html",
        place=row,
        pictures=pictures,
        beside=outlook_words.beside(queries.outlook(block=row), queries.forecasts(block=row), today=today),
        review=found.blocks[0],
        metals=[(named(one.of), one) for one in found.blocks[0].metals],
        says=found.says,
    )
