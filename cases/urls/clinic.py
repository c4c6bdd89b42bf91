"""The clinic's pages: chair check, draft, signature, answer, records, outcome."""

from django.urls import path

from cases.views import answer, chair, draft_new, drafts, outcome, records, submit

urlpatterns = [
    path("chair/", chair.chair, name="chair_check"),
    path("cases/new/", draft_new.new, name="case_new"),
    path("cases/<str:code>/edit/", drafts.edit, name="case_edit_draft"),
    path("cases/<str:code>/discard/", drafts.discard, name="case_discard"),
    path("cases/<str:code>/submit/", submit.submit, name="case_submit"),
    path("cases/<str:code>/resubmit/", submit.resubmit, name="case_resubmit"),
    path("cases/<str:code>/records/", records.records, name="case_records"),
    path("cases/<str:code>/receipt/", records.receipt, name="case_receipt"),
    path("cases/<str:code>/return/", records.returned, name="case_return"),
    path("cases/<str:code>/resume/", records.resume, name="case_resume"),
    path("cases/<str:code>/provisional/", records.provisional, name="case_provisional"),
    path("cases/<str:code>/fit/", outcome.fit, name="case_fit"),
    path("cases/<str:code>/remake/", outcome.remake, name="case_remake"),
    path("flags/<str:code>/answer/", answer.answer, name="flag_answer"),
]
