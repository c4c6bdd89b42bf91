"""People, partners and settings of an organisation; invitations; the operator."""

from django.urls import path

from cases.views import (
    delegations,
    instruments,
    invitations,
    operator,
    organisation,
    partners,
    people,
    studies,
    tokens,
)

urlpatterns = [
    path("people/", people.people, name="people"),
    path("people/invite/", people.invite, name="invitation_create"),
    path(
        "people/invitations/<str:code>/revoke/",
        people.invitation_revoke,
        name="invitation_revoke",
    ),
    path("people/<int:pk>/end/", people.membership_end, name="membership_end"),
    path("people/<int:pk>/update/", people.membership_update, name="membership_update"),
    path("partners/", partners.partners, name="partners"),
    path("partners/ask/", partners.ask, name="partnership_ask"),
    path("partners/<int:pk>/accept/", partners.accept, name="partnership_accept"),
    path("partners/<int:pk>/end/", partners.end, name="partnership_end"),
    path("delegations/", delegations.delegations, name="delegations"),
    path("delegations/<int:pk>/end/", delegations.end, name="delegation_end"),
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/<int:pk>/revoke/", tokens.revoke, name="token_revoke"),
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/new/", instruments.new, name="instrument_new"),
    path("instruments/<str:code>/", instruments.edit, name="instrument_edit"),
    path("instruments/<str:code>/use/", instruments.use, name="instrument_use"),
    path(
        "instruments/<str:code>/retire/", instruments.retire, name="instrument_retire"
    ),
    path("studies/", studies.studies, name="studies"),
    path("studies/new/", studies.new, name="study_new"),
    path("studies/<str:code>/", studies.study, name="study"),
    path("studies/<str:code>/withdraw/", studies.withdraw, name="study_withdraw"),
    path("organisation/", organisation.organisation, name="organisation"),
    path("acting/", organisation.switch_membership, name="switch_membership"),
    path("operator/", operator.operator, name="operator"),
    path("operator/<str:code>/invite/", operator.invite, name="operator_invite"),
    path("invitation/<str:secret>/", invitations.invitation, name="invitation"),
]
