"""Pages by public code, commands as verbs; each sub-list has one owner."""

from cases.urls import audit, audit_export, clinic, outcome, pages, people, rule_sets

urlpatterns = [
    *audit.urlpatterns,
    *audit_export.urlpatterns,
    *people.urlpatterns,
    *clinic.urlpatterns,
    *pages.urlpatterns,
    *outcome.urlpatterns,
    *rule_sets.urlpatterns,
]
