"""Writing in a case: a message, perhaps with a file, once however often sent."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from cases import clock
from cases.errors import Invalid
from cases.forms.commands import show_faults
from cases.forms.thread import MessageForm
from cases.selectors.cases import case_detail
from cases.services.posting import message_send
from cases.tenancy import Actor
from cases.views.access import ActingRequest, acting_required
from cases.views.case_page import thread_context

__all__ = ["message_post"]

# What a pointer of the services is called in the composer.
_NAMES = {"attachments": "file"}


def _send(form: MessageForm, actor: Actor, code: str) -> bool:
    """Write the message; put what was refused beside its field."""
    upload = form.cleaned_data["file"]
    try:
        message_send(
            actor=actor,
            code=code,
            body=form.cleaned_data["body"],
            internal=form.cleaned_data.get("internal", False),
            client_id=str(form.cleaned_data["client_id"]),
            file=(upload.name, upload.read()) if upload else None,
            at=clock.now(),
        )
    except Invalid as error:
        show_faults(form, error, _NAMES)
        return False
    return True


@require_POST
@acting_required
def message_post(request: ActingRequest, code: str) -> HttpResponse:
    """Write a message; answer with the thread part, or lead back to the case."""
    form = MessageForm(request.POST, request.FILES, actor=request.actor)
    sent = form.is_valid() and _send(form, request.actor, code)
    if sent and not request.htmx:
        return redirect(f"/cases/{code}/#conversation")
    detail = case_detail(actor=request.actor, code=code)
    context = thread_context(detail, request.actor, None if sent else form)
    template = (
        "cases/parts/_thread.html" if request.htmx else "cases/message_refused.html"
    )
    return render(request, template, context, status=200 if sent else 422)
