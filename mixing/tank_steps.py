"""The steps of mixing for every load of a job, each with its own amounts: what a sheet for the crew prints.

A report tells the steps of the first load; a last load that is not full takes other amounts of water too.
"""

from __future__ import annotations

from decimal import localcontext
from typing import Any

from mixing import doses as dosage
from mixing import hose_end, order
from mixing import loads as loading
from mixing.quantities import EXACT
from mixing.request import MixRequest
from mixing.request_reading import read_request


def steps_by_load(mix: object, *, language: str = "en") -> list[dict[str, Any]]:
    """Return `[{"number", "steps"}]`, each step as in the report, its `measure` apart from its note.

    :param mix: the request as for `check_mix`
    :param language: `en` or `es`, of the notes
    :raises MixRequestError: for a request that cannot be understood
    """
    with localcontext(EXACT):
        return _by_load(read_request(mix), language)


def _by_load(request: MixRequest, language: str) -> list[dict[str, Any]]:
    doses = dosage.doses(request)
    dial, _, _ = hose_end.dial(request, doses)
    premix = dial.water if dial else None
    return [
        {
            "number": load.number,
            "steps": [
                _written(step, number, language)
                for number, step in enumerate(order.steps(request, (load,), premix_water=premix)[0], 1)
            ],
        }
        for load in loading.loads(request, doses)
    ]


def _written(step: order.Step, number: int, language: str) -> dict[str, Any]:
    """Return a step with what to measure apart from its note, so that a page can show it large."""
    plain = order.Step(step.doing, step.amount).as_json(number, language)
    return {**plain, "measure": [one.as_json() for one in step.measure]}
