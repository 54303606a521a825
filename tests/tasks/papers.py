"""What is read of a PDF: its pages and its words."""

from __future__ import annotations

import io

from pypdf import PdfReader


def pages(content: bytes) -> list[str]:
    """Return the text of each page, spaces made one."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages]


def words(content: bytes) -> str:
    """Return the text of all pages."""
    return " ".join(pages(content))
