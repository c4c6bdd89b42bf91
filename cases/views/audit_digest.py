"""Whether a manager gets the monthly digest by mail, from a link in that mail.

Mail programs send the POST by themselves and carry no cookie (RFC 8058): the signed
key in the address is what they prove it with. It opens nothing else, a GET changes
nothing, and what was stopped can be taken up again at the same address.
"""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from cases import clock
from cases.services.audit_digest import digest_mail_set, digest_mail_stopped

__all__ = ["digest_mail"]

both = require_http_methods(["GET", "HEAD", "POST"])


# No cookie decides anything here, so there is nothing a foreign page could ride on.
@csrf_exempt
@both
def digest_mail(request: HttpRequest, key: str) -> HttpResponse:
    """Show the choice; stop the mails, or with ``again`` send them again."""
    if request.method == "POST":
        digest_mail_set(key=key, wanted="again" in request.POST, at=clock.now())
        if request.POST.get("List-Unsubscribe") == "One-Click":
            return HttpResponse(status=204)
        return redirect("audit_digest_mail", key=key)
    context = {"stopped": digest_mail_stopped(key=key)}
    return render(request, "audit/digest_mail.html", context)
