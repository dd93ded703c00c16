"""Reads delivery status notifications (RFC 3464) out of messages; the original is known by its Message-ID."""

from collections.abc import Iterator
from dataclasses import dataclass
from email.message import Message


@dataclass(frozen=True)
class Notice:
    """What a notification says about one recipient of one message."""

    message_id: str
    recipient: str
    reason: str


def failures(message: Message) -> Iterator[Notice]:
    """One notice a recipient that was not reached; nothing for delays, receipts and ordinary mail."""
    original = _original_id(message)
    if not original:
        return
    for part in message.walk():
        if part.get_content_type() != "message/delivery-status":
            continue
        for fields in _parts(part):
            if str(fields.get("Action", "")).strip().lower() != "failed":
                continue
            words = [fields.get("Diagnostic-Code", ""), fields.get("Status", "")]
            reason = next((str(word) for word in words if word), "")
            yield Notice(original, _address(str(fields.get("Final-Recipient", ""))), reason)


def _parts(message: Message) -> list[Message]:
    """The messages inside a message that holds some."""
    inside = message.get_payload()
    return [part for part in inside if isinstance(part, Message)] if isinstance(inside, list) else []


def _original_id(message: Message) -> str:
    """Message-ID of the returned message or of its headers."""
    for part in message.walk():
        kind = part.get_content_type()
        if kind == "message/rfc822" and part.is_multipart():
            return str(_parts(part)[0].get("Message-ID", "")).strip()
        if kind == "text/rfc822-headers":
            for line in str(part.get_payload()).splitlines():
                name, _, value = line.partition(":")
                if name.strip().lower() == "message-id":
                    return value.strip()
    return ""


def _address(field: str) -> str:
    """ "rfc822; hazel@example.com" -> the address."""
    return field.rpartition(";")[2].strip().strip("<>")
