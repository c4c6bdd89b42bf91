"""Pages about cases: lists, case, answer, work order, notices."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
