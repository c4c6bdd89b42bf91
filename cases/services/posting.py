"""A message together with its file, or neither."""

from datetime import datetime

from django.db import transaction

from cases import storage
from cases.lifecycle import Command
from cases.models import Message
from cases.services.attachments import attachment_add
from cases.services.thread import case_to_write, message_post
from cases.tenancy import Actor

__all__ = ["message_send"]


@transaction.atomic
def message_send(
    *,
    actor: Actor,
    code: str,
    body: str,
    internal: bool,
    client_id: str,
    file: tuple[str, bytes] | None,
    at: datetime,
) -> Message:
    """Write a message with at most one new file (name, content).

    Sent twice with the same ``client_id`` there is one message and one file. When
    the message is refused the file is not kept either.

    Raises:
        NotFound, NotAllowed, IllegalTransition, Invalid: as posting and adding do.
    """
    case = case_to_write(actor=actor, code=code, command=Command.MESSAGE)
    earlier = Message.objects.filter(
        case=case, author_id=actor.membership_id, client_id=client_id
    ).first()
    if earlier is not None:
        return earlier
    added = None
    if file is not None:
        added = attachment_add(
            actor=actor,
            code=code,
            name=file[0],
            content=file[1],
            internal=internal,
            at=at,
        )
    try:
        return message_post(
            actor=actor,
            code=code,
            body=body,
            internal=internal,
            client_id=client_id,
            attachments=[added.code] if added else [],
            at=at,
        )
    except Exception:
        if added is not None:
            storage.delete(added.storage_key)
        raise
