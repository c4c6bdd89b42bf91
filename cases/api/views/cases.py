"""Cases: the list, a new draft, one case, a changed draft, its current check."""

from typing import Any, ClassVar

from django.http import HttpResponse
from django.urls import reverse
from rest_framework.request import Request

from cases import clock, policies
from cases.api.authentication import actor_of
from cases.api.documented import Operation
from cases.api.endpoint import Endpoint, Reply
from cases.api.once import digest_of, once, respond
from cases.api.preconditions import is_current, stated_version
from cases.api.query import limit, read_query
from cases.api.representations.cases import case_json, case_row
from cases.api.representations.checks import case_check_json
from cases.api.scalars import day, text, word, words
from cases.api.views.drafts import CREATE, PATCH, changed_draft, new_draft
from cases.lifecycle import CaseState, Command, Mover
from cases.selectors.cases import (
    MAX_PAGE_SIZE,
    PAGE_SIZE,
    CaseFilters,
    case_detail,
    case_get,
    case_page,
)
from cases.services import drafts
from cases.tenancy import Actor
from rules.terms import Verdict

__all__ = ["CaseCheck", "Cases", "OneCase", "case_reply"]

_QUERY = {
    "state": words(tuple(CaseState)),
    "whose_move": word(tuple(Mover), needed=False),
    "clinic": text(10),
    "verdict": word(tuple(Verdict), needed=False),
    "due_before": day(),
    "search": text(60),
    "cursor": text(200),
    "limit": limit(PAGE_SIZE, MAX_PAGE_SIZE),
}


def case_reply(actor: Actor, code: str, *, status: int = 200) -> Reply:
    """Return the whole case as it is now."""
    detail = case_detail(actor=actor, code=code)
    return Reply(
        case_json(actor, detail),
        status=status,
        version=detail.case.version,
        location=reverse("api_case", args=[code]) if status == 201 else "",
    )


class Cases(Endpoint):
    """List cases, newest first; begin a draft."""

    operations: ClassVar[dict[str, Operation]] = {
        "get": Operation(returns="CaseList", query=_QUERY),
        "post": Operation(request=CREATE.schema, returns="Case", status=201, once=True),
    }

    def get(self, request: Request) -> HttpResponse:
        """Answer one page and where the next begins."""
        asked = read_query(request, _QUERY)
        page = case_page(
            actor=actor_of(request),
            filters=CaseFilters(
                states=tuple(asked["state"]),
                whose=asked["whose_move"],
                clinic=asked["clinic"],
                verdict=asked["verdict"],
                due_before=asked["due_before"],
                search=asked["search"],
            ),
            cursor=asked["cursor"],
            limit=asked["limit"],
        )
        return self.answer(
            {
                "items": [case_row(row) for row in page.rows],
                "next": self._next(page.next_cursor),
            }
        )

    def _next(self, cursor: str) -> str | None:
        if not cursor:
            return None
        query = self.http.GET.copy()
        query["cursor"] = cursor
        return self.http.build_absolute_uri(f"{self.http.path}?{query.urlencode()}")

    def post(self, request: Request) -> HttpResponse:
        """Store the draft once."""
        actor, at = actor_of(request), clock.now()
        data = request.data
        policies.require(actor, Command.EDIT_DRAFT)

        def work() -> Reply:
            values = CREATE.read(data)
            case = drafts.case_create(
                actor=actor,
                laboratory=values["laboratory"],
                draft=new_draft(values),
                at=at,
            )
            return case_reply(actor, case.code, status=201)

        return once(request, work, actor=actor, digest=digest_of(request), at=at)


class OneCase(Endpoint):
    """Show a case; change a draft, or the correction of an incomplete case."""

    operations: ClassVar[dict[str, Operation]] = {
        "get": Operation(returns="Case"),
        "patch": Operation(request=PATCH.schema, returns="Case", versioned=True),
    }

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the case, or 304 to whoever has this version already."""
        actor = actor_of(request)
        case = case_get(actor=actor, code=code)
        if is_current(request, case.version):
            return respond(Reply(status=304, version=case.version).kept())
        detail = case_detail(actor=actor, code=code)
        return self.answer(case_json(actor, detail), version=detail.case.version)

    def patch(self, request: Request, code: str) -> HttpResponse:
        """Replace what the body states; the rest of the draft stays."""
        actor, data = actor_of(request), request.data
        detail = case_detail(actor=actor, code=code)
        policies.require(actor, Command.EDIT_DRAFT)
        version = stated_version(request)
        drafts.draft_save(
            actor=actor,
            code=code,
            version=version,
            draft=changed_draft(detail, PATCH.read(data)),
            at=clock.now(),
        )
        saved = case_detail(actor=actor, code=code)
        return self.answer(case_json(actor, saved), version=saved.case.version)


class CaseCheck(Endpoint):
    """Show the current verdicts of a case; those of a draft are not stored."""

    operations: ClassVar[dict[str, Operation]] = {"get": Operation(returns="CaseCheck")}

    def get(self, request: Request, code: str) -> HttpResponse:
        """Answer the stored check, or judge the draft as it stands."""
        actor = actor_of(request)
        detail = case_detail(actor=actor, code=code)
        body: dict[str, Any] = case_check_json(detail)
        return self.answer(body, version=detail.case.version)
