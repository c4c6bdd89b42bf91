"""Every page of the portal, who looks at it, and with what in it, as data.

A new page fails ``test_every_page_is_looked_at`` until it has a line here.
"""

from collections.abc import Callable
from dataclasses import dataclass

from django.urls import reverse

from cases import clock
from cases.services.audit_digest import digest_mail_key
from tests.browser.stage import Demo

__all__ = ["LOOKS", "NO_PAGE", "Look", "address_of"]

Find = Callable[[Demo], list[str]]


def _nothing(demo: Demo) -> list[str]:
    return []


def _case(reference: str) -> Find:
    return lambda demo: [demo.cases[reference]]


def _flag(reference: str) -> Find:
    return lambda demo: [demo.flags[reference]]


def _order(reference: str) -> Find:
    return lambda demo: list(demo.orders[reference])


def _draft(name: str, *more: str) -> Find:
    return lambda demo: [demo.rule_sets[name], *more]


def _published(demo: Demo) -> list[str]:
    return [demo.rule_sets["laboratory"], demo.rule_sets["coming_digest"]]


@dataclass(frozen=True, slots=True)
class Look:
    """One page in one state, and those who look at it (nobody: "").

    People go by their keys in the demo's cast: velka, pim, jorv (clinician,
    assistant, manager of one clinic), ildo, wen and tarka, ubbe (of two others),
    orrix, sedda, brum (technician, responsible technician, laboratory manager).
    """

    name: str
    who: str
    find: Find = _nothing
    state: str = ""
    query: str = ""
    status: int = 200

    @property
    def people(self) -> tuple[str, ...]:
        """Return the keys of those who look."""
        return tuple(self.who.split()) or ("",)

    @property
    def label(self) -> str:
        """Return a name for tests and pictures."""
        return f"{self.name}-{self.state}" if self.state else self.name


def address_of(look: Look, demo: Demo) -> str:
    """Return the path a look opens."""
    return reverse(look.name, args=look.find(demo)) + look.query


ACCOUNT = (
    Look("account_login", ""),
    Look("account_inactive", ""),
    Look("account_reset_password", ""),
    Look("account_reset_password_done", ""),
    Look(
        "account_reset_password_from_key",
        "",
        lambda demo: list(demo.reset.split("-", 1)),
    ),
    Look("account_reset_password_from_key_done", ""),
    Look("account_logout", "velka"),
    Look("account_reauthenticate", "velka"),
    Look("account_change_password", "velka"),
    Look("mfa_index", "velka brum"),
    Look("mfa_reauthenticate", "brum"),
    Look("mfa_activate_totp", "velka"),
    Look("mfa_deactivate_totp", "brum"),
    Look("mfa_generate_recovery_codes", "brum"),
)


def _audit_years(years: int) -> str:
    """Return the query of a period up to this month."""
    now = clock.now()
    return f"?from={now.year - years}-{now.month:02d}"


PEOPLE = (
    Look("people", "velka jorv orrix brum"),
    Look("partners", "jorv brum velka"),
    Look("delegations", "velka pim jorv"),
    Look("tokens", "velka orrix"),
    Look("organisation", "jorv brum pim"),
    Look("instruments", "pim orrix"),
    Look("instruments", "ildo", state="empty"),
    Look("instruments", "pim", state="retired", query="?retired=1"),
    Look("instrument_new", "pim"),
    Look("instrument_new", "pim", state="caliper", query="?kind=caliper"),
    Look("instrument_edit", "pim", lambda demo: [demo.instruments["pim strips"]]),
    Look("instrument_retire", "pim", lambda demo: [demo.instruments["pim caliper"]]),
    Look("studies", "pim orrix"),
    Look("study_new", "pim"),
    Look("study", "pim", lambda demo: [demo.studies["pim"]]),
    Look("switch_membership", "velka"),
    Look("operator", "operator"),
    Look("invitation", "", lambda demo: [demo.invitation]),
    Look("invitation", "", lambda demo: ["gone"], "gone", status=404),
)

LISTS = (
    Look("work", "velka pim jorv ildo tarka"),
    Look("bench", "orrix sedda brum"),
    Look("bench", "orrix", query="?search=none-of-these", state="empty"),
    Look("cases", "velka jorv"),
    Look("notices", "velka orrix"),
)

CASES = (
    Look("case", "velka pim", _case("QF-1188"), "draft"),
    Look("case", "ildo orrix", _case("MG-0412"), "submitted"),
    Look("case", "velka orrix", _case("QF-1171"), "short"),
    Look("case", "tarka orrix", _case("TW-2093"), "undecided"),
    Look("case", "wen orrix", _case("MG-0405"), "incomplete"),
    Look("case", "velka pim jorv orrix brum", _case("QF-1159"), "on_hold"),
    Look("case", "tarka orrix sedda", _case("TW-2087"), "countersign_due"),
    Look("case", "ildo wen orrix", _case("MG-0398"), "awaiting_records"),
    Look("case", "tarka orrix", _case("TW-2055"), "deferred"),
    Look("case", "velka orrix", _case("QF-1147"), "cleared"),
    Look("case", "velka orrix", _case("QF-1132"), "in_fabrication"),
    Look("case", "ildo orrix", _case("MG-0389"), "at_try_in"),
    Look("case", "tarka ubbe orrix", _case("TW-2068"), "dispatched"),
    Look("case", "velka orrix", _case("QF-1064"), "fitted"),
    Look("case", "ildo orrix", _case("MG-0361"), "not_fitted"),
    Look("case", "tarka orrix", _case("TW-2041"), "cancelled"),
)


def _remake(reference: str) -> Find:
    return lambda demo: [demo.cases[reference], demo.remakes[reference]]


REMAKES = (
    Look("remake", "ildo wen orrix", _remake("MG-0361")),
    Look("remake_causes", "brum"),
    Look("case_fit", "velka", _case("QF-1064"), "twice", status=409),
)


def _site(reference: str, *place: str) -> Find:
    return lambda demo: [demo.cases[reference], *place]


GUIDE = (
    Look("guide", "velka jorv orrix"),
    Look(
        "guide",
        "velka orrix",
        query="?tooth=26&material=metal_ceramic",
        state="molar",
    ),
    Look(
        "guide",
        "velka brum",
        query="?tooth=21&material=lithium_disilicate",
        state="incisor",
    ),
    Look(
        "guide",
        "velka",
        query="?tooth=36&material=zirconia_3y&antagonist=prepared&facing-tooth=26"
        "&facing-material=metal_ceramic",
        state="both_prepared",
    ),
    Look(
        "guide",
        "velka",
        query="?tooth=46&material=zirconia_3y&kind=implant_crown",
        state="implant",
    ),
    Look(
        "guide",
        "velka",
        query="?tooth=21&material=full_metal&kind=inlay",
        state="refused",
        status=422,
    ),
)

WHY = (
    Look(
        "case_why",
        "velka orrix",
        _site("QF-1171", "36", "lingual_cusps", "clearance"),
    ),
    Look(
        "case_why",
        "velka",
        _site("QF-1171", "11", "nose", "width"),
        "no_such_site",
        status=404,
    ),
)

RULE_SETS = (
    Look("rule_sets", "brum orrix velka"),
    Look("rule_set", "brum velka", _published),
    Look("rule_set_copy", "brum"),
    Look("rule_set_import", "brum"),
    Look("rule_set_draft", "brum", _draft("editing")),
    Look("rule_set_draft", "brum", _draft("waits"), "waits"),
    Look("rule_set_draft", "brum", _draft("own"), "own_waits"),
    Look("rule_set_draft", "brum", _draft("approved"), "approved"),
    Look("rule_set_draft", "brum", _draft("published"), "published"),
    Look("rule_set_whole", "brum", _draft("editing")),
    Look("rule_set_differences", "brum", _draft("editing")),
    Look("rule_set_settings", "brum", _draft("editing")),
    Look("rule_set_charges", "brum", _draft("editing")),
    Look("rule_set_spans", "brum", _draft("editing", "zirconia_3y")),
    Look("rule_set_lines", "brum", _draft("editing", "metal_ceramic")),
    Look("rule_set_lines", "brum", _draft("editing", "norrel_zr"), "product"),
    Look("rule_set_product", "brum", _draft("editing")),
    Look("rule_set_material", "brum", _draft("editing", "norrel_zr")),
    Look("rule_set_remove", "brum", _draft("editing", "norrel_zr")),
    Look("rule_set_impact", "brum", _draft("impact")),
    Look("rule_set_impact", "brum", _draft("running"), "running"),
    Look("rule_set_propose", "brum", _draft("editing")),
    Look("rule_set_discard", "brum", _draft("editing")),
    Look("rule_set_settings", "brum", _draft("own"), "not_edited", status=409),
)

AUDIT = (
    Look("audit", "brum jorv velka"),
    Look("audit", "brum", state="two_years", query=_audit_years(2)),
    Look("audit", "brum velka", state="empty", query="?from=2010-01&to=2010-03"),
    Look(
        "audit",
        "brum",
        state="nothing_fits",
        query="?from=2010-01&to=2010-03&kind=crown&method=scan",
    ),
    Look(
        "audit",
        "brum velka",
        state="refused",
        query="?from=2026-05&to=2026-01&kind=crown",
        status=422,
    ),
    Look("audit_rates", "brum velka"),
    Look("audit_rates", "brum", state="few", query="?material=full_metal&kind=onlay"),
    Look("audit_clearance", "brum velka", query=_audit_years(2)),
    Look("audit_queries", "brum velka"),
    Look("audit_clinics", "brum", query=_audit_years(2)),
    Look("audit_cases", "brum velka"),
    Look(
        "audit_cases",
        "brum",
        state="narrowed",
        query="?first_class=over_050&outcome=adverse",
    ),
    Look("audit_compare", "brum velka"),
    Look(
        "audit_compare",
        "brum",
        state="overlapping",
        query="?from=2026-01&to=2026-03&from2=2026-02&to2=2026-04",
    ),
    Look("audit_views", "brum", query="?page=rates&kind=crown"),
    Look("audit_views", "jorv", state="none"),
    Look("audit_notes", "brum velka"),
    Look("audit_set_up", "brum jorv"),
    Look("audit_clinics", "velka", state="not_your_side", status=403),
)

CLINIC = (
    Look("chair_check", "velka pim"),
    Look("case_new", "velka pim"),
    Look("case_edit_draft", "velka pim", _case("QF-1188")),
    Look("case_discard", "velka", _case("QF-1188")),
    Look("case_submit", "velka pim", _case("QF-1188")),
    Look("case_resubmit", "ildo", _case("MG-0405")),
    Look("case_edit_draft", "ildo", _case("MG-0405"), "incomplete"),
    Look("flag_answer", "velka", _flag("QF-1159")),
    Look("case_records", "ildo wen", _case("MG-0398")),
    Look("case_receipt", "ubbe", _case("TW-2068")),
    Look("case_return", "wen", _case("MG-0389")),
    Look("case_provisional", "ubbe", _case("TW-2055")),
    Look("case_resume", "ubbe", _case("TW-2055")),
    Look("case_fit", "tarka", _case("TW-2068")),
    Look("case_remake", "ildo", _case("MG-0361")),
    Look("case_change_request", "velka", _case("QF-1132")),
    Look("case_cancel", "velka", _case("QF-1132")),
)

LABORATORY = (
    Look("case_receive", "orrix", _case("MG-0412")),
    Look("case_incomplete", "orrix", _case("QF-1171")),
    Look("case_recheck", "orrix", _case("QF-1171")),
    Look("case_readings", "orrix", _case("QF-1171")),
    Look("case_flag", "orrix", _case("QF-1171")),
    Look("case_clear", "orrix", _case("TW-2093")),
    Look("case_release", "orrix", _case("QF-1147")),
    Look("case_try_in", "orrix", _case("QF-1132")),
    Look("case_dispatch", "orrix", _case("QF-1132")),
    Look("case_internal_remake", "orrix", _case("QF-1132")),
    Look("flag_withdraw", "orrix", _flag("QF-1159")),
    Look("flag_countersign", "sedda", _flag("TW-2087")),
)


def _digest_mail(demo: Demo) -> list[str]:
    reader = demo.people["brum"].actor
    return [
        digest_mail_key(
            organisation_id=reader.organisation_id, membership_id=reader.membership_id
        )
    ]


OPEN = (
    Look("audit_digest_mail", "", _digest_mail),
    Look("verify", "", _order("QF-1132")),
    Look("verify", "", lambda demo: [demo.orders["QF-1132"][0], "0" * 64], "unknown"),
)

REFUSALS = (
    Look("case", "velka", _case("MG-0361"), "not_yours", status=404),
    Look("bench", "velka", state="not_your_side", status=403),
    Look("case_clear", "orrix", _case("QF-1064"), "too_late", status=409),
)

LOOKS = (
    *ACCOUNT,
    *PEOPLE,
    *LISTS,
    *CASES,
    *GUIDE,
    *REMAKES,
    *WHY,
    *RULE_SETS,
    *AUDIT,
    *CLINIC,
    *LABORATORY,
    *OPEN,
    *REFUSALS,
)

# Addresses without a page of their own, each with the reason.
NO_PAGE = {
    "home": "sends on to the first page of one's side",
    "health_live": "for monitors",
    "health_ready": "for monitors",
    "mfa_authenticate": "between password and code: test_second_factor.py",
    "mfa_view_recovery_codes": "after codes were made: test_second_factor.py",
    "mfa_download_recovery_codes": "a file",
    "case_file": "a file",
    "work_order_pdf": "a file",
    "case_message": "only sent to",
    "notices_mark": "only sent to",
    "invitation_create": "only sent to",
    "invitation_revoke": "only sent to",
    "membership_end": "only sent to",
    "membership_update": "only sent to",
    "partnership_ask": "only sent to",
    "partnership_accept": "only sent to",
    "partnership_end": "only sent to",
    "delegation_end": "only sent to",
    "token_revoke": "only sent to",
    "instrument_use": "only sent to",
    "study_withdraw": "only sent to",
    "operator_invite": "only sent to",
    "remake_state": "only sent to",
    "remake_loss": "only sent to",
    "remake_trace_add": "only sent to",
    "remake_trace_withdraw": "only sent to",
    "remake_cause_retire": "only sent to",
    "audit_export": "a file",
    "audit_report_pdf": "a file",
    "audit_view_remove": "only sent to",
    "audit_note_remove": "only sent to",
    "rule_set_file": "a file",
    "rule_set_draft_file": "a file",
    "rule_set_sum": "one line of text, for a cell",
    "rule_set_impact_start": "only sent to",
    "rule_set_approve": "only sent to",
    "rule_set_return": "only sent to",
    "rule_set_publish": "only sent to",
}
