"""The case thread: messages to the other side, notes within the laboratory."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from cases import policies, timeline
from cases.enums import AuditEvent, Side
from cases.errors import Invalid, NotAllowed, NotFound
from cases.lifecycle import CaseState, Command, next_state
from cases.models import Attachment, Case, Message
from cases.services.base import other_side, tell
from cases.services.texts import refuse_overrides
from cases.tenancy import Actor

__all__ = ["MAX_MESSAGE", "case_to_write", "message_post"]

# A long explanation fits; a pasted document belongs into an attachment.
MAX_MESSAGE = 8000


def case_to_write(*, actor: Actor, code: str, command: Command) -> Case:
    """Return the case for a message or attachment; no version is needed.

    Raises:
        NotFound, NotAllowed, IllegalTransition: as ever.
    """
    case = Case.objects.visible_to(actor).locked().filter(code=code).first()
    if case is None:
        raise NotFound
    policies.require(actor, command)
    next_state(CaseState(case.state), command)
    return case


@transaction.atomic
def message_post(
    *,
    actor: Actor,
    code: str,
    body: str,
    internal: bool,
    client_id: str,
    attachments: Sequence[str],
    at: datetime,
) -> Message:
    """Add a message; the same ``client_id`` again returns the first one.

    ``attachments`` are codes of the actor's own files on this case that are
    not in a message yet. An internal note is the laboratory's alone.

    Raises:
        Invalid: empty or too long, or a file that is not there.
        NotAllowed: an internal note by the clinic.
    """
    case = case_to_write(actor=actor, code=code, command=Command.MESSAGE)
    if internal and actor.side != Side.LABORATORY:
        raise NotAllowed("Internal notes are the laboratory's.")
    earlier = Message.objects.filter(
        case=case, author_id=actor.membership_id, client_id=client_id
    ).first()
    if earlier is not None:
        return earlier
    text = body.strip()
    if not text:
        raise Invalid.one("/body", "Write a message.")
    if len(text) > MAX_MESSAGE:
        raise Invalid.one(
            "/body",
            "Write at most {limit} characters; attach longer texts as a file.",
            limit=str(MAX_MESSAGE),
        )
    refuse_overrides({"/body": text})
    message = Message.objects.create(
        case=case,
        author_id=actor.membership_id,
        author_name=actor.name,
        side=actor.side,
        internal=internal,
        body=text,
        client_id=client_id,
        written_at=at,
    )
    _attach(message, codes=attachments, actor=actor)
    entry = timeline.record(
        case=case,
        event=AuditEvent.MESSAGE_POSTED,
        actor=actor,
        at=at,
        before=case.state,
        content={"message": message.code},
        internal=internal,
    )
    if not internal:
        tell(
            case=case,
            organisation_id=other_side(case, actor),
            kind=AuditEvent.MESSAGE_POSTED.value,
            key=str(entry.pk),
            at=at,
        )
    return message


def _attach(message: Message, *, codes: Sequence[str], actor: Actor) -> None:
    if not codes:
        return
    updated = Attachment.objects.filter(
        case=message.case,
        code__in=codes,
        uploaded_by_id=actor.membership_id,
        message__isnull=True,
        internal=message.internal,
    ).update(message=message)
    if updated != len(set(codes)):
        raise Invalid.one("/attachments", "Choose files you added to this case.")
