"""The audit: figures, the cases behind them, and how it is set up."""

from django.urls import path

from cases.views import (
    audit,
    audit_cases,
    audit_clearance,
    audit_compare,
    audit_set_up,
)

urlpatterns = [
    path("audit/", audit.audit, name="audit"),
    path("audit/rates/", audit.rates, name="audit_rates"),
    path("audit/clearance/", audit_clearance.clearance, name="audit_clearance"),
    path("audit/queries/", audit_clearance.queries, name="audit_queries"),
    path("audit/clinics/", audit.clinics, name="audit_clinics"),
    path("audit/cases/", audit_cases.cases, name="audit_cases"),
    path("audit/compare/", audit_compare.compare, name="audit_compare"),
    path("audit/views/", audit_set_up.views, name="audit_views"),
    path(
        "audit/views/<str:code>/remove/",
        audit_set_up.view_remove,
        name="audit_view_remove",
    ),
    path("audit/notes/", audit_set_up.notes, name="audit_notes"),
    path(
        "audit/notes/<str:code>/remove/",
        audit_set_up.note_remove,
        name="audit_note_remove",
    ),
    path("audit/set-up/", audit_set_up.set_up, name="audit_set_up"),
]
