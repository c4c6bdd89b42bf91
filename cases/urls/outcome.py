"""Remakes that were recorded, what each side says of them; the laboratory's causes."""

from django.urls import path

from cases.views import remake_causes, remakes

_REMAKE = "cases/<str:code>/remakes/<int:pk>"

urlpatterns = [
    path(f"{_REMAKE}/", remakes.remake_page, name="remake"),
    path(f"{_REMAKE}/state/", remakes.state, name="remake_state"),
    path(f"{_REMAKE}/loss/", remakes.loss, name="remake_loss"),
    path(f"{_REMAKE}/traces/", remakes.trace_add, name="remake_trace_add"),
    path(
        f"{_REMAKE}/traces/<int:trace>/withdraw/",
        remakes.trace_withdraw,
        name="remake_trace_withdraw",
    ),
    path("causes/", remake_causes.causes, name="remake_causes"),
    path("causes/<str:code>/retire/", remake_causes.retire, name="remake_cause_retire"),
]
