"""Rule sets: in force and published, drafts, their way to force, their impact."""

from django.urls import path

from cases.views import (
    rule_set_approval,
    rule_set_drafts,
    rule_set_edit,
    rule_set_impact,
    rule_set_lines,
    rule_set_products,
    rule_sets,
)

_DRAFT = "rule-sets/drafts/<str:code>"
_SET = "rule-sets/published/<str:laboratory>/<str:digest>"

urlpatterns = [
    path("rule-sets/", rule_sets.rule_sets, name="rule_sets"),
    path("rule-sets/copy/", rule_set_drafts.copy, name="rule_set_copy"),
    path("rule-sets/import/", rule_set_drafts.from_file, name="rule_set_import"),
    path(f"{_SET}/", rule_sets.rule_set, name="rule_set"),
    path(f"{_SET}/toml/", rule_sets.rule_set_file, name="rule_set_file"),
    path(
        "rule-sets/impact/<str:code>/", rule_set_impact.impact, name="rule_set_impact"
    ),
    path(f"{_DRAFT}/", rule_set_drafts.draft, name="rule_set_draft"),
    path(f"{_DRAFT}/whole/", rule_set_drafts.draft_whole, name="rule_set_whole"),
    path(f"{_DRAFT}/toml/", rule_set_drafts.draft_file, name="rule_set_draft_file"),
    path(
        f"{_DRAFT}/differences/",
        rule_set_drafts.draft_differences,
        name="rule_set_differences",
    ),
    path(f"{_DRAFT}/settings/", rule_set_edit.settings, name="rule_set_settings"),
    path(f"{_DRAFT}/charges/", rule_set_edit.charges, name="rule_set_charges"),
    path(f"{_DRAFT}/sum/", rule_set_lines.sum_of, name="rule_set_sum"),
    path(
        f"{_DRAFT}/spans/<path:material>/",
        rule_set_edit.span_limits,
        name="rule_set_spans",
    ),
    path(
        f"{_DRAFT}/lines/<path:material>/", rule_set_lines.lines, name="rule_set_lines"
    ),
    path(f"{_DRAFT}/products/", rule_set_products.product_new, name="rule_set_product"),
    path(
        f"{_DRAFT}/materials/<path:material>/",
        rule_set_products.material,
        name="rule_set_material",
    ),
    path(
        f"{_DRAFT}/remove/<path:material>/",
        rule_set_products.remove,
        name="rule_set_remove",
    ),
    path(f"{_DRAFT}/impact/", rule_set_approval.compare, name="rule_set_impact_start"),
    path(f"{_DRAFT}/propose/", rule_set_approval.propose, name="rule_set_propose"),
    path(f"{_DRAFT}/approve/", rule_set_approval.approve, name="rule_set_approve"),
    path(f"{_DRAFT}/return/", rule_set_approval.send_back, name="rule_set_return"),
    path(f"{_DRAFT}/publish/", rule_set_approval.publish, name="rule_set_publish"),
    path(f"{_DRAFT}/discard/", rule_set_approval.discard, name="rule_set_discard"),
]
