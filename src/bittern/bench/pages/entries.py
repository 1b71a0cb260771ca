"""What a browser sends, as plain data for the use cases."""

from __future__ import annotations

from django.http import QueryDict

from bittern.engines.key.evidence import KINDS

# Fields that belong to the page, not to the act.
_OF_THE_PAGE = ("csrfmiddlewaretoken",)
MOST_FIELDS = 400
MOST_CHARACTERS = 60_000


def flatten_post(post: QueryDict) -> dict[str, object]:
    """Return the form's fields: one value as text, several of one name as a list."""
    fields: dict[str, object] = {}
    for name, values in post.lists():
        if name in _OF_THE_PAGE:
            continue
        fields[name] = values[0] if len(values) == 1 else list(values)
    return fields


def fits_draft(fields: dict[str, object]) -> bool:
    """Tell whether a draft of ``fields`` is of a size that a person types."""
    length = sum(len(name) + len(str(value)) for name, value in fields.items())
    return len(fields) <= MOST_FIELDS and length <= MOST_CHARACTERS


def name_draft(act: str, fields: dict[str, object]) -> str:
    """Return the form that a draft belongs to; the questions of the Key leg are one act and a form each.

    >>> name_draft("observe", {"kind": "chip"}), name_draft("offer", {"kind": "chip"})
    ('observe:chip', 'offer')
    """
    kind = str(fields.get("kind") or "")
    return f"{act}:{kind}" if act == "observe" and kind in KINDS else act
