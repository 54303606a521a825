"""Every sentence that a person reads, by its id, in English and Spanish."""

from mixing.catalogue.catalogue import (
    LANGUAGES,
    NO_PARAMETERS,
    Text,
    has,
    named,
    render,
    render_row,
    said,
    template,
    word,
    words,
)

__all__ = [
    "LANGUAGES",
    "NO_PARAMETERS",
    "Text",
    "has",
    "named",
    "render",
    "render_row",
    "said",
    "template",
    "word",
    "words",
]
