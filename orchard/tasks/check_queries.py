"""Reading mix checks and overrides."""

from __future__ import annotations

from django.db.models import QuerySet

from orchard.farms.models import Farm
from orchard.tasks.models import MixCheck, Override


def mix_checks(*, farm: Farm) -> QuerySet[MixCheck]:
    """Return the farm's checks with what they name."""
    rows = MixCheck.objects.for_farm(farm).select_related("farm", "block", "sprayer")
    return rows.prefetch_related("overrides")


def overrides(*, farm: Farm) -> QuerySet[Override]:
    """Return the stops that managers of the farm took upon themselves."""
    return Override.objects.for_farm(farm).select_related("farm", "mix_check")
