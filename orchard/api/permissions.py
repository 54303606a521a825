"""Who may do what: the one table. The owner may do whatever another may.

`integration` tokens go by their scopes alone: reading wants `AREA:read`, everything else `AREA:write`.
"""

from __future__ import annotations

from dataclasses import dataclass

OWNER, MANAGER, STOREKEEPER = "owner", "manager", "storekeeper"
LEAD, MEMBER, ADVISER, INTEGRATION = "crew_lead", "crew_member", "adviser", "integration"

AREAS = ("blocks", "crews", "inventory", "mixes", "tasks", "schedule", "records", "admin")
SCOPES = tuple(f"{area}:{verb}" for area in AREAS for verb in ("read", "write"))

_M = (MANAGER,)
_SM = (STOREKEEPER, MANAGER)
_ML = (MANAGER, LEAD)
_FIELD = (MANAGER, LEAD, MEMBER)
_COUNTERS = (MANAGER, STOREKEEPER, LEAD, MEMBER)
_PRICED = (MANAGER, STOREKEEPER, LEAD, ADVISER)
_EVERYBODY = (MANAGER, STOREKEEPER, LEAD, MEMBER, ADVISER)
_OBSERVERS = (MANAGER, LEAD, MEMBER, ADVISER)


@dataclass(frozen=True, slots=True)
class Grant:
    """What one verb on one resource needs.

    :ivar scope: what an integration token must carry
    :ivar roles: who may, besides the owner
    """

    scope: str
    roles: tuple[str, ...]

    @property
    def all_roles(self) -> tuple[str, ...]:
        """The roles with the owner, as the OpenAPI document prints them."""
        return (OWNER, *self.roles)


def _rows(area: str, resource: str, **verbs: tuple[str, ...]) -> dict[tuple[str, str], Grant]:
    verbs.setdefault("read", _EVERYBODY)
    return {
        (resource, verb): Grant(f"{area}:{'read' if verb == 'read' else 'write'}", roles)
        for verb, roles in verbs.items()
    }


TABLE: dict[tuple[str, str], Grant] = {
    **_rows("admin", "farm", update=_M),
    **_rows("admin", "member", read=_M, create=(), update=(), delete=()),
    **_rows("admin", "token", read=_M, create=_M, delete=_M),
    **_rows("admin", "audit_entry", read=_M),
    **_rows("admin", "farm_export", read=()),
    **_rows("blocks", "block", create=_M, update=_M, delete=_M),
    **_rows("blocks", "stage_observation", create=_OBSERVERS),
    **_rows("blocks", "scouting_count", create=_OBSERVERS),
    **_rows("blocks", "forecast"),
    **_rows("blocks", "weather", create=_M),
    **_rows("crews", "worker", create=_M, update=_M),
    **_rows("crews", "qualification", create=_M, update=_M, delete=_M),
    **_rows("crews", "crew", create=_M, update=_M, delete=_M),
    **_rows("crews", "sprayer", create=_ML, update=_ML),
    **_rows("crews", "calibration", create=_ML),
    **_rows("inventory", "product", create=_SM, update=_SM, delete=_SM),
    **_rows("inventory", "label_version", create=_SM),
    ("label_version", "approve"): Grant("admin:write", _M),
    ("label_version", "withdraw"): Grant("admin:write", _M),
    **_rows("inventory", "product_document", create=(STOREKEEPER, MANAGER, ADVISER)),
    **_rows("inventory", "lot", create=_SM, update=_SM),
    **_rows("inventory", "store_place", create=_SM, update=_SM, delete=_SM),
    **_rows("inventory", "storage_finding"),
    **_rows("inventory", "stock"),
    **_rows("inventory", "stock_movement", create=_SM),
    **_rows("inventory", "reservation"),
    **_rows("inventory", "shortage", answer=_SM),
    **_rows("inventory", "container_record", create=_COUNTERS),
    **_rows("inventory", "container"),
    **_rows("inventory", "cost", read=_PRICED),
    **_rows("inventory", "emergency_list"),
    **_rows("inventory", "stocktake", create=_SM, update=_SM, post=_SM, cancel=_SM, reveal=_SM),
    **_rows("inventory", "stock_import", read=_SM, create=_SM),
    **_rows("inventory", "stock_balance"),
    **_rows("inventory", "scan"),
    **_rows("inventory", "shelf_count", create=_COUNTERS),
    **_rows("inventory", "purchase_need"),
    **_rows("mixes", "mix_check", create=_EVERYBODY),
    **_rows("mixes", "override", create=_M),
    **_rows("mixes", "pair_note", create=(MANAGER, ADVISER), lift=()),  # the owner alone
    **_rows("tasks", "programme", create=(MANAGER, ADVISER), update=_M, close=_M, reopen=_M),
    **_rows("tasks", "programme_example", adopt=(MANAGER, ADVISER)),
    **_rows("tasks", "planning_run", create=_M, cancel=_M),
    **_rows(
        "tasks",
        "work_order",
        create=_M,
        update=_M,
        issue=_M,
        cancel=_M,
        resume=_ML,
        accept=_FIELD,
        start=_FIELD,
        record_load=_FIELD,
        finish=_FIELD,
        hold=_FIELD,
        settle=_ML,
    ),
    **_rows("tasks", "tank_sheet"),
    **_rows("tasks", "incident", create=_EVERYBODY),
    **_rows("crews", "work_hours"),
    **_rows("tasks", "notice_rule", create=_M, update=_M),
    **_rows("tasks", "notice", create=_FIELD),
    **_rows("tasks", "briefing", create=_ML),
    **_rows("records", "application_record", create=_M, correct=_M, void=_M),
    **_rows("records", "posting_notice"),
    **_rows("records", "season_review"),
    **_rows("records", "rotation"),
    **_rows("records", "use_report"),
    **_rows("tasks", "attention"),
    **_rows("schedule", "schedule"),
    **_rows("schedule", "calendar_feed", create=_EVERYBODY, delete=_EVERYBODY),
    **_rows("admin", "webhook", read=_M, create=_M, update=_M, delete=_M, rotate_secret=_M, replay=_M),
    **_rows("admin", "webhook_delivery", read=_M),
    **_rows("schedule", "change"),
}


def allows(*, role: str, scopes: frozenset[str], resource: str, verb: str) -> bool:
    """Return whether a role, or an integration with these scopes, may do this."""
    grant = TABLE[resource, verb]
    if role == INTEGRATION:
        return grant.scope in scopes
    return role == OWNER or role in grant.roles
