"""Pages about cases: lists, case, the laboratory's commands, thread, notices."""

from django.urls import URLPattern, URLResolver, path

from cases.views import (
    bench,
    case_page,
    explain,
    files,
    guide,
    home,
    lab,
    lab_gate,
    lab_readings,
    notices,
    outcome,
    stopping,
    thread,
    verify,
)

urlpatterns: list[URLPattern | URLResolver] = [
    path("work/", home.work, name="work"),
    path("bench/", bench.bench, name="bench"),
    path("guide/", guide.guide, name="guide"),
    path("cases/", bench.cases_list, name="cases"),
    path("cases/<str:code>/", case_page.case_page, name="case"),
    path(
        "cases/<str:code>/why/<str:tooth>/<str:site>/<str:quantity>/",
        explain.why,
        name="case_why",
    ),
    path("cases/<str:code>/receive/", lab.receive, name="case_receive"),
    path("cases/<str:code>/incomplete/", lab.incomplete, name="case_incomplete"),
    path("cases/<str:code>/recheck/", lab.recheck, name="case_recheck"),
    path("cases/<str:code>/try-in/", lab.try_in, name="case_try_in"),
    path("cases/<str:code>/dispatch/", lab.dispatch, name="case_dispatch"),
    path(
        "cases/<str:code>/internal-remake/",
        outcome.remake_internal,
        name="case_internal_remake",
    ),
    path("cases/<str:code>/readings/", lab_readings.own_readings, name="case_readings"),
    path("cases/<str:code>/flag/", lab_gate.flag, name="case_flag"),
    path("cases/<str:code>/clear/", lab_gate.clear, name="case_clear"),
    path("cases/<str:code>/release/", lab_gate.release, name="case_release"),
    path("cases/<str:code>/cancel/", stopping.cancel, name="case_cancel"),
    path(
        "cases/<str:code>/change-request/",
        stopping.change_request,
        name="case_change_request",
    ),
    path("cases/<str:code>/messages/", thread.message_post, name="case_message"),
    path(
        "cases/<str:code>/files/<str:attachment>/", files.attachment, name="case_file"
    ),
    path("flags/<str:code>/withdraw/", lab.withdraw, name="flag_withdraw"),
    path(
        "flags/<str:code>/countersign/", lab_gate.countersign, name="flag_countersign"
    ),
    path(
        "work-orders/<str:code>/pdf/", files.work_order_document, name="work_order_pdf"
    ),
    path("notices/", notices.notices, name="notices"),
    path("notices/read/", notices.notices_mark, name="notices_mark"),
    path("verify/<str:code>/<str:digest>/", verify.verify, name="verify"),
]
