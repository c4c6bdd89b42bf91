"""Pages by public code, commands as verbs; each sub-list has one owner."""

from cases.urls import pages, people

urlpatterns = [*people.urlpatterns, *pages.urlpatterns]
