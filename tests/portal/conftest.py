"""A route of the API that says who acts, for the middleware's tests."""

import pytest
from django.test import Client
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

import portal.urls
from cases.api.authentication import actor_of


class Probe(APIView):
    """Answer with the acting membership."""

    def get(self, request: Request) -> Response:
        """Say who acts."""
        return Response({"membership": actor_of(request).membership_id})

    post = get


urlpatterns = [path("api/v1/probe", Probe.as_view()), *portal.urls.urlpatterns]
handler400 = portal.urls.handler400
handler403 = portal.urls.handler403
handler404 = portal.urls.handler404
handler500 = portal.urls.handler500


@pytest.fixture
def probe(settings) -> Client:
    """Return a browser of a portal that has the route."""
    settings.ROOT_URLCONF = "tests.portal.conftest"
    return Client()
