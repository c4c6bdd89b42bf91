"""Everything the portal answers: accounts, pages and the API."""

from django.conf import settings
from django.urls import URLPattern, URLResolver, include, path

from portal import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.home, name="home"),
    path("health/live", views.live, name="health_live"),
    path("health/ready", views.ready, name="health_ready"),
    path("account/", include("portal.account_urls")),
    path("api/v1/", include("cases.api.urls")),
    path("", include("cases.urls")),
]
if settings.DEBUG:
    urlpatterns.append(path("style/", views.style_guide, name="style_guide"))

handler400 = "portal.views.bad_request"
handler403 = "portal.views.forbidden"
handler404 = "portal.views.not_found"
handler500 = "portal.views.server_error"
