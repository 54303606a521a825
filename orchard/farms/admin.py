"""What an operator of the service sees of the outbox; nothing can be made, changed or deleted here."""

from __future__ import annotations

from typing import Any

from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from orchard.farms import outbox
from orchard.farms.models import OutboxEvent


class State(admin.SimpleListFilter):
    """Waiting, set aside or done."""

    title = _("state")
    parameter_name = "state"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, Any]]:
        return [("set_aside", _("set aside")), ("waiting", _("waiting")), ("done", _("done"))]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        if self.value() == "set_aside":
            return queryset.filter(processed_at=None).exclude(set_aside_at=None)
        if self.value() == "waiting":
            return queryset.filter(processed_at=None, set_aside_at=None)
        return queryset.exclude(processed_at=None) if self.value() == "done" else queryset


@admin.register(OutboxEvent)
class OutboxEvents(admin.ModelAdmin):
    """Events with their tries; what was set aside can be taken up again."""

    list_display = ("kind", "farm", "created_at", "attempts", "last_error", "set_aside_at", "processed_at")
    list_filter = (State, "kind")
    list_select_related = ("farm",)
    ordering = ("-created_at", "-id")
    show_full_result_count = False
    actions = ("replay",)

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    @admin.action(description=_("Take up again what was set aside"), permissions=["view"])
    def replay(self, request: HttpRequest, queryset: QuerySet[OutboxEvent]) -> None:
        replayed = outbox.replay(ids=list(queryset.values_list("id", flat=True)), now=timezone.now())
        messages.success(request, _("%d taken up again.") % replayed)
