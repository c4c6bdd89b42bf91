"""Whether this process can do its work: asked by compose, proxies and the demo."""

from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

__all__ = ["health"]


@never_cache
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """Answer 200 when the database answers, 503 when not; says nothing else."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return HttpResponse("database away\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")
