"""The prefilled question of a query, written from the check."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from cases.lifecycle import AnswerKind
from cases.views.figures import UnitPanel
from cases.views.site_rows import SHORT, SiteRow
from cases.views.span_rows import SpanRow

__all__ = ["prefilled"]

# The service takes 4000 characters; the rest is the technician's to write.
_LONGEST = 3000


def _site(row: SiteRow) -> str:
    """Return one short site as a line."""
    where = f" ({row.position})" if row.position else ""
    measured = (
        _("not measured")
        if row.verdict == "unmeasured"
        else _("measured {measured} mm").format(measured=row.measured)
    )
    need = (
        _("needed {need} mm").format(need=row.need)
        if row.need
        else _("the rule set states no need")
    )
    said = ", ".join(part for part in (measured, need, row.shortage) if part)
    return f"- {row.label}{where}: {said}."


# What a technician would write: measuring again is the bench's own, the patient's
# risk and the opposing tooth are the clinician's to bring up. All stand on the page.
_NAMED = ("change_design", "change_material", "reduction_coping", "re_preparation")


def _ways(panel: UnitPanel) -> list[str]:
    """Return the ways out that make the room, one a line; materials share one."""
    lines: dict[str, list[str]] = {}
    for option in panel.options:
        if not option.feasible or option.kind not in _NAMED:
            continue
        if option.kind == AnswerKind.CHANGE_MATERIAL:
            head, _colon, material = option.title.partition(": ")
            lines.setdefault(head, []).append(material)
        else:
            lines[option.title] = list(option.depths)
    return [
        f"- {head}: {'; '.join(said)}" if said else f"- {head}"
        for head, said in lines.items()
    ]


def prefilled(panels: Sequence[UnitPanel], spans: Sequence[SpanRow] = ()) -> str:
    """Return the question as one would write it; empty where nothing is in doubt."""
    parts: list[str] = []
    for panel in panels:
        short = [_site(row) for row in panel.sites if row.verdict in SHORT]
        if not short:
            continue
        parts.append(
            "\n".join([_("{tooth}, {making}:").format(
                tooth=panel.label, making=panel.making
            ), *short])
        )  # fmt: skip
        if ways := _ways(panel):
            parts.append("\n".join([_("Ways out as checked:"), *ways]))
    for span in spans:
        if span.faults:
            faults = [f"- {fault}" for fault in span.faults]
            parts.append("\n".join([f"{span.title}:", *faults]))
    if not parts:
        return ""
    parts.append(_("Please choose a way out and sign it."))
    return "\n\n".join(parts)[:_LONGEST]
