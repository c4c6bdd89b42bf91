"""The clinic's pages: chair check, draft, signature, answer, records, outcome."""

from django.urls import path

from cases.views import chair, draft_new, drafts

urlpatterns = [
    path("chair/", chair.chair, name="chair_check"),
    path("cases/new/", draft_new.new, name="case_new"),
    path("cases/<str:code>/edit/", drafts.edit, name="case_edit_draft"),
    path("cases/<str:code>/discard/", drafts.discard, name="case_discard"),
]
