"""One planning run: gather, plan, and make a draft work order of each job."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from orchard.api.refusals import Refusal
from orchard.farms.actors import Actor
from orchard.tasks import choosing, programmes
from orchard.tasks.models import PlanningRun, WorkOrder
from orchard.tasks.services import orders
from scheduling.gather import Gathered, gather
from scheduling.lines import LeftOut
from scheduling.planner import DraftJob, plan

STARTS = dt.time(8)  # common practice, no source: after the dew, before the wind of the afternoon


def run_plan(*, run: PlanningRun, by: Actor, now: dt.datetime) -> PlanningRun:
    """Do a planning run that is queued; one that was done is left as it is.

    A line and block that has an open order keeps it: nothing that is planned is moved.
    """
    with transaction.atomic():
        run = (
            PlanningRun.objects.select_related("farm", "programme__farm")
            .select_for_update(of=("self",))
            .get(key=run.key)
        )
        if run.status not in ("queued", "running"):
            return run
        known = gather(run=run)
        made = plan(
            lines=known.lines, blocks=known.seen, days=known.days, last_safe=known.last_safe, on=known.on
        )
        done, left_out = _drafts(run, known, made.jobs, by=by, now=now)
        result = {
            "work_orders": [str(order.id) for order in done],
            "left_out": [_said(one, known) for one in (*made.left_out, *left_out)],
            "gap_percent": None,  # each job gets its own best day; nothing is proven over all of them
        }
        return programmes.progress(
            run=run, by=by, now=now, status="done", progress_percent=100, result=result
        )


def _drafts(
    run: PlanningRun, known: Gathered, jobs: tuple[DraftJob, ...], *, by: Actor, now: dt.datetime
) -> tuple[list[WorkOrder], list[LeftOut]]:
    done, left_out = [], []
    for job in jobs:
        if (job.line, job.block) in known.open_orders:
            left_out.append(
                LeftOut(job.line, job.block, "planned_already", "an order for it is open already")
            )
            continue
        try:
            with transaction.atomic():
                values = with_mix(_order(run, known, job), raw=known.raw_lines[job.line], by=by, now=now)
                done.append(orders.add_order(farm=run.farm, by=by, now=now, **values))
        except Refusal as refusal:
            left_out.append(LeftOut(job.line, job.block, refusal.faults[0].code, str(refusal)))
    return done, left_out


def with_mix(values: dict[str, Any], *, raw: dict[str, Any], by: Actor, now: dt.datetime) -> dict[str, Any]:
    """Return an order's values with the first mix of its line that will do; its window says why."""
    if values["kind"] != "spray" or not raw.get("alternatives") or values.get("sprayer") is None:
        return values
    choice = choosing.choose(
        line=raw,
        block=values["block"],
        sprayer=values["sprayer"],
        spray=values["spray"],
        at=values["starts_at"],
        by=by,
        now=now,
    )
    because = [values["window"]["because"]]
    because += [f"another mix of the line, for {one.says}" for one in choice.passed_over if choice.place]
    return {
        **values,
        "products": choice.products,
        "window": {**values["window"], "because": "; ".join(because)},
    }


def _order(run: PlanningRun, known: Gathered, job: DraftJob) -> dict[str, Any]:
    raw, block = known.raw_lines[job.line], known.blocks[job.block]
    values: dict[str, Any] = {
        "kind": raw["kind"],
        "title": f"{raw['title']}, {block.name}",
        "block": block,
        "crew": known.crew,
        "starts_at": dt.datetime.combine(job.on, STARTS, tzinfo=known.zone),
        "programme": run.programme,
        "line": job.line,
        "window": _window(known, job),
    }
    if raw["kind"] in ("spray", "calibration", "equipment_wash"):
        values["sprayer"] = known.sprayer
    if raw["kind"] == "spray":
        values |= {"products": raw["products"], "spray": _spray(raw), "targets": raw.get("targets") or []}
    return values


def _window(known: Gathered, job: DraftJob) -> dict[str, str | None]:
    latest = known.last_safe.on.isoformat() if known.last_safe else None
    return {"earliest": job.on.isoformat(), "latest": latest, "because": "; ".join(job.because)}


def _spray(raw: dict[str, Any]) -> dict[str, Any]:
    """Return the spray as a mix check reads it; the block's own trees and ground are filled in there."""
    for name in ("volume_per_tree", "volume_per_area"):
        if raw.get(name):
            return {name: raw[name]}
    return {}


def _said(one: LeftOut, known: Gathered) -> dict[str, str]:
    says = one.says
    for id, block in known.blocks.items():
        says = says.replace(id, block.name)
    return {"line": one.line, "block": one.block, "code": one.code, "says": says}
