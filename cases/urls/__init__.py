"""Pages by public code, commands as verbs; each sub-list has one owner."""

from cases.urls import clinic, outcome, pages, people, rule_sets

urlpatterns = [
    *people.urlpatterns,
    *clinic.urlpatterns,
    *pages.urlpatterns,
    *outcome.urlpatterns,
    *rule_sets.urlpatterns,
]
