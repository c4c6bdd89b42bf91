"""Sentences for readings that contradict each other: which, by how much, what next."""

from rules.judge import PositionCheck
from rules.readings import Combined, Conflict, RowConflict
from rules.said import floor_mm, length_said, mm, reading_said
from rules.teeth import site_label
from rules.terms import Message, label

__all__ = ["conflict_said", "disagreement_sentence"]


def _(text: str) -> str:
    return text


def disagreement_sentence(site: str, tooth: str, check: PositionCheck) -> Message:
    """Say which readings of a position contradict each other and what settles it."""
    combined = check.combined
    params: dict[str, str | Message] = {"site": site, "found": _found(combined, tooth)}
    if combined.row_conflict is not None:
        if check.position is None:
            return Message(_("At the {site}: {found}. Measure both again."), params)
        params["position"] = label(check.position)
        return Message(
            _("At the {site} in {position}: {found}. Measure both again."), params
        )
    if check.position is None:
        return Message(
            _("At the {site}: {found}: check die and index, then re-measure."), params
        )
    params["position"] = label(check.position)
    return Message(
        _(
            "At the {site} in {position}: {found}: verify die and mounting against the "
            "jaw record, then re-measure."
        ),
        params,
    )


def _found(combined: Combined, tooth: str) -> str | Message:
    if combined.row_conflict is not None:
        return _row_said(combined.row_conflict, tooth)
    return conflict_said(combined.conflicts[0]) if combined.conflicts else ""


def conflict_said(conflict: Conflict) -> Message:
    """Say by how much two readings differ and how much of it could be measuring."""
    params: dict[str, str | Message] = {
        "one": reading_said(conflict.one),
        "other": reading_said(conflict.other),
        "apart": mm(conflict.apart_mm),
    }
    if conflict.allowed_mm is None:
        return Message(_("{one} and {other} contradict each other"), params)
    params["allowed"] = floor_mm(conflict.allowed_mm)
    return Message(
        _(
            "{one} and {other} differ by {apart} mm; up to {allowed} mm would be "
            "measuring uncertainty"
        ),
        params,
    )


def _row_said(conflict: RowConflict, tooth: str) -> Message:
    params: dict[str, str | Message] = {
        "row": site_label(conflict.row, tooth),
        "along": length_said(conflict.row_says),
    }
    if conflict.cusp is None or conflict.cusp_says is None:
        return Message(
            _(
                "the row and its cusps contradict each other, {row} {along} but every "
                "single cusp more"
            ),
            params,
        )
    params["cusp"] = site_label(conflict.cusp, tooth)
    params["there"] = length_said(conflict.cusp_says)
    return Message(
        _(
            "the row and its cusp contradict each other, {row} {along} but {cusp} "
            "{there}"
        ),
        params,
    )
