"""The body of a form's request as what was typed: as browsers send forms, and those that hold a file."""

from __future__ import annotations

from email import message_from_bytes
from email.message import Message
from urllib.parse import parse_qs

from cli.review.answers import AnswerError
from cli.review.form_fields import Typed

URLENCODED, MULTIPART = "application/x-www-form-urlencoded", "multipart/form-data"
_MOST_FIELDS = 400


def typed_of(content_type: str, body: bytes) -> Typed:
    """What a form holds. What is no UTF-8 shows as such. Raises AnswerError where it can't be read."""
    if content_type.split(";")[0].strip().lower() == MULTIPART:
        return Typed(_parts(content_type, body))
    try:
        fields = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=_MOST_FIELDS)
    except ValueError:
        raise AnswerError("The form has more fields than any of ours.") from None
    return Typed(fields)


def _parts(content_type: str, body: bytes) -> dict[str, list[str]]:
    """The parts of a body by the rules of mail (RFC 7578), which Python reads itself."""
    head = b"Content-Type: " + content_type.encode("latin-1", "replace").replace(b"\n", b" ").replace(b"\r", b" ")
    whole = message_from_bytes(head + b"\r\n\r\n" + body)
    parts = whole.get_payload()
    if not isinstance(parts, list) or len(parts) > _MOST_FIELDS:
        raise AnswerError("The form can't be read: send it again from its page.")
    fields: dict[str, list[str]] = {}
    for part in parts:
        name = part.get_param("name", header="content-disposition") if isinstance(part, Message) else None
        held = part.get_payload(decode=True) if isinstance(name, str) else None
        if isinstance(name, str) and isinstance(held, bytes):
            fields.setdefault(name, []).append(held.decode("utf-8-sig", "replace"))
    return fields
