"""The address of a block's leaf curl risk and of what rain has left of its last spray."""

from __future__ import annotations

from typing import Any

from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Amount, Moment
from orchard.blocks.api.seen import BelowBlock
from orchard.tasks import disease


class WetSpellShown(serializers.Serializer):
    until = Moment()
    wet_hours = serializers.IntegerField()
    unknown_hours = serializers.IntegerField(
        help_text="further hours that may have been wet with these, in it or beside it; nothing tells"
    )
    rain = Amount()
    mean_temperature = Amount(allow_null=True, help_text="while wet")
    forecast = serializers.BooleanField(help_text="true where part of it is forecast")
    risk = serializers.ChoiceField(choices=["infection", "unlikely", "unknown"])
    share = serializers.CharField(
        allow_null=True, help_text="of the worst disease such a spell can give, 0 to 1, by straight lines"
    )
    says = serializers.CharField()


WetSpellShown._declared_fields["from"] = Moment(source="since")  # type: ignore[attr-defined]


class CoverShown(serializers.Serializer):
    sprayed_at = Moment()
    rain = Amount(help_text="since then, of the hours that are known")
    unknown_hours = serializers.IntegerField(
        help_text="hours since then without a gauge; a forecast of that time is none"
    )
    low_percent = serializers.IntegerField(help_text="left at the worst of the sources")
    likely_percent = serializers.IntegerField(
        allow_null=True, help_text="null where too much of the rain is not known"
    )
    high_percent = serializers.IntegerField(help_text="left at the best of the sources")
    not_before = Moment(allow_null=True, help_text="the end of the label's interval; never overruled")
    by_the_rule = serializers.BooleanField(help_text="the published rule says to spray again")
    says = serializers.CharField()


class AgainShown(serializers.Serializer):
    wanted = serializers.BooleanField(
        allow_null=True,
        help_text="null where the weather ahead is not known, or there is no rule for the crop",
    )
    by = Moment(allow_null=True, help_text="the start of the next wet spell that could infect")
    not_before = Moment(allow_null=True, help_text="the end of the label's interval")
    says = serializers.CharField(help_text="why, in the language asked for")


class DiseaseShown(serializers.Serializer):
    spells = WetSpellShown(many=True)
    cover = CoverShown(allow_null=True, help_text="null where no spray of this winter is on record")
    spray_again = AgainShown()
    limits = serializers.ListField(child=serializers.CharField(), help_text="what it does not know")


class Disease(BelowBlock):
    """Wet spells that could have infected peach with leaf curl, and what is left of the last spray."""

    resource = "forecast"
    shown = DiseaseShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it as of now; it never overrules a label."""
        self.filters()
        return Response(self.show(disease.of_block(block=self.block, now=self.now)))


urlpatterns = [path("farms/<uuid:farm>/blocks/<uuid:block>/disease", Disease.as_view())]
