"""Routes of the HTTP API, version 1 (design section 6)."""

from django.urls import URLPattern, URLResolver, path

from cases.api.views import (
    audit,
    bench,
    cases,
    check,
    files,
    flags,
    outcome,
    records,
    signing,
    submission,
)
from cases.api.views.schema import Schema

_COMMANDS = {
    "submit": submission.Submit,
    "submit/preview": signing.SubmitPreview,
    "receive": submission.Receive,
    "incomplete": submission.Incomplete,
    "resubmit": submission.Resubmit,
    "resubmit/preview": signing.ResubmitPreview,
    "readings": submission.Readings,
    "records": submission.Records,
    "recheck": submission.Recheck,
    "provisional": submission.Provisional,
    "clear": submission.Clear,
    "flags": flags.Flag,
    "change-request": flags.ChangeRequest,
    "change-request/preview": signing.ChangeRequestPreview,
    "resume": bench.Resume,
    "release": bench.Release,
    "try-in": bench.TryIn,
    "return": bench.Return,
    "dispatch": bench.Dispatch,
    "receipt": bench.Receipt,
    "fit": outcome.Fit,
    "internal-remake": outcome.InternalRemake,
    "remake": outcome.RemakeCase,
    "cancel": bench.Cancel,
    "discard": bench.Discard,
}
_AUDIT = {
    "summary": audit.AuditSummary,
    "rates": audit.AuditRates,
    "causes": audit.AuditCauses,
    "control-chart": audit.AuditControlChart,
    "funnel": audit.AuditFunnel,
    "clearance": audit.AuditClearance,
    "queries": audit.AuditQueries,
    "cases": audit.AuditCases,
}
_SETTLEMENT = {
    "answer": flags.Answer,
    "answer/preview": signing.AnswerPreview,
    "withdraw": flags.Withdraw,
    "countersign": flags.Countersign,
    "countersign/preview": signing.CountersignPreview,
}

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", Schema.as_view(), name="api_schema"),
    path("check", check.CheckClearance.as_view(), name="api_check"),
    path("teeth/convert", check.ConvertTeeth.as_view(), name="api_teeth"),
    path("materials", check.Materials.as_view(), name="api_materials"),
    path("rule-sets/current", check.CurrentRuleSet.as_view(), name="api_rule_set"),
    path("cases", cases.Cases.as_view(), name="api_cases"),
    path("cases/<str:code>", cases.OneCase.as_view(), name="api_case"),
    path("cases/<str:code>/check", cases.CaseCheck.as_view(), name="api_case_check"),
    path("cases/<str:code>/timeline", records.Timeline.as_view(), name="api_timeline"),
    path("cases/<str:code>/messages", records.Messages.as_view(), name="api_messages"),
    path(
        "cases/<str:code>/attachments",
        files.Attachments.as_view(),
        name="api_attachments",
    ),
    path(
        "cases/<str:code>/attachments/<str:attachment>",
        files.Attachment.as_view(),
        name="api_attachment",
    ),
    path(
        "cases/<str:code>/remakes/<str:remake>",
        outcome.OneRemake.as_view(),
        name="api_remake",
    ),
    path(
        "cases/<str:code>/remakes/<str:remake>/statements",
        outcome.RemakeStatements.as_view(),
        name="api_remake_statements",
    ),
    *(
        path(
            f"cases/<str:code>/{verb}",
            view.as_view(),
            name=f"api_case_{verb.replace('-', '_').replace('/', '_')}",
        )
        for verb, view in _COMMANDS.items()
    ),
    *(
        path(
            f"flags/<str:code>/{verb}",
            view.as_view(),
            name=f"api_flag_{verb.replace('/', '_')}",
        )
        for verb, view in _SETTLEMENT.items()
    ),
    *(
        path(
            f"audit/{part}",
            view.as_view(),
            name=f"api_audit_{part.replace('-', '_')}",
        )
        for part, view in _AUDIT.items()
    ),
    path("signing-grants", signing.SigningGrants.as_view(), name="api_signing_grants"),
    path(
        "work-orders/<str:code>.pdf",
        records.WorkOrderDocument.as_view(),
        name="api_work_order_pdf",
    ),
    path("work-orders/<str:code>", records.WorkOrder.as_view(), name="api_work_order"),
]
