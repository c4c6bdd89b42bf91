"""Pages by public code, commands as verbs; each sub-list has one owner."""

from cases.urls import clinic, pages, people

urlpatterns = [*people.urlpatterns, *clinic.urlpatterns, *pages.urlpatterns]
