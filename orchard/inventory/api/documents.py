"""The addresses of a product's papers: labels and safety data sheets as they were read."""

from __future__ import annotations

import base64
import binascii
import re
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from orchard.api.fields import Id, Input, ListQuery, Reference, Shown, Text, Word, wrong
from orchard.api.refusals import Fault, NotThere
from orchard.farms.resources import Making, Single
from orchard.inventory import queries
from orchard.inventory.api.fields import BelowProduct
from orchard.inventory.models import DocumentContent, LabelVersion, ProductDocument
from orchard.inventory.services import documents
from orchard.inventory.shelf_models import DOCUMENTS

SHA256 = re.compile(r"[0-9a-f]{64}\Z")
MEDIA = re.compile(r"[a-z]+/[A-Za-z0-9.+-]{1,80}\Z")
LARGEST = 700 * 1024


@extend_schema_field({"type": "string", "contentEncoding": "base64"})
class Base64(serializers.Field):
    """Bytes in base64, at most 700 KiB of them."""

    def to_internal_value(self, data: Any) -> bytes:
        try:
            content = base64.b64decode(data, validate=True) if isinstance(data, str) else b""
        except (binascii.Error, ValueError):
            raise wrong(_("is base64 (RFC 4648)")) from None
        if not 0 < len(content) <= LARGEST:
            raise wrong(_("holds 1 byte to 700 KiB: of a larger one send sha256 and address"), "out_of_range")
        return content


class DocumentShown(Shown):
    product = Id()
    label = Id(allow_null=True, help_text="the label version that it belongs to")  # type: ignore[assignment]
    kind = serializers.ChoiceField(choices=DOCUMENTS)
    name = serializers.CharField()
    sha256 = serializers.CharField(help_text="of its bytes, 64 hexadecimal digits (FIPS 180-4)")
    media_type = serializers.CharField(allow_null=True)
    size = serializers.IntegerField(allow_null=True, help_text="bytes; null where it is kept elsewhere")
    address = serializers.CharField(allow_null=True, help_text="where it is kept, or came from")
    language = serializers.CharField(allow_null=True)
    content_url = serializers.SerializerMethodField(help_text="where the bytes are; null: kept elsewhere")

    def get_content_url(self, row: ProductDocument) -> str | None:
        return None if row.size is None else f"{row.path}/content"


class DocumentInput(Input):
    id = Id(made_here=True, required=False)
    kind = Word(DOCUMENTS)
    name = Text(max_length=200)
    sha256 = Text(max_length=64, required=False, allow_null=True, help_text="64 hexadecimal digits")
    content = Base64(required=False, allow_null=True)
    media_type = Text(max_length=100, required=False, allow_null=True, help_text="such as application/pdf")
    address = Text(max_length=1000, required=False, allow_null=True)
    language = Text(max_length=10, required=False, allow_null=True)
    label = Reference(  # type: ignore[assignment]
        lambda *, farm: LabelVersion.objects.for_farm(farm).select_related("product"),
        required=False,
        allow_null=True,
    )

    def validate_sha256(self, value: str | None) -> str | None:
        if value is not None and not SHA256.match(value.lower()):
            raise wrong(_("is 64 hexadecimal digits"))
        return None if value is None else value.lower()

    def validate_media_type(self, value: str | None) -> str | None:
        if value is not None and not MEDIA.match(value):
            raise wrong(_("is a media type, such as application/pdf"))
        return value


class DocumentQuery(ListQuery):
    kind = Word(DOCUMENTS, required=False)
    sha256 = Text(required=False)


class _Documents(BelowProduct):
    resource = "product_document"
    shown = DocumentShown

    def rows(self, **filters: Any) -> QuerySet[ProductDocument]:
        """Return the papers of the product."""
        return queries.documents(product=self.product).filter(**filters)


class Documents(_Documents, Making):
    """The papers of a product; never changed."""

    asked = DocumentInput
    query = DocumentQuery

    def create(self, **values: Any) -> ProductDocument:
        return documents.add_document(product=self.product, by=self.by, now=self.now, **values)


class DocumentHere(_Documents, Single):
    """One paper."""


class DocumentBytes(_Documents, Single):
    """The bytes of one paper, always handed out as a file."""

    responses = {(200, "application/octet-stream"): OpenApiTypes.BINARY}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read them."""
        kept = DocumentContent.objects.filter(document=self.thing).first()
        if kept is None:
            raise NotThere(Fault("not_found", _("only the hash of this paper is kept here")))
        response = HttpResponse(bytes(kept.content), content_type="application/octet-stream")
        name = re.sub(r"[^A-Za-z0-9._-]", "_", self.thing.name)
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        response["X-Content-Type-Options"] = "nosniff"
        return response
