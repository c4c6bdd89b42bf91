"""What the audit counts, in the words people read.

Keys are those of ``cases.audit.figures`` and of the facts; a key without a word stands
as it is, so that an old row never breaks a page.
"""

from collections.abc import Mapping
from typing import Final

from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from cases.audit.figures import RUNS
from cases.forms.words import ANSWERS, ATTRIBUTIONS, CAUSES, DETECTED
from rules.terms import Kind, Method, ToothClass, Verdict, label

__all__ = [
    "CLASSES",
    "CLOSED",
    "DIMENSIONS",
    "FILTERS",
    "GROUPINGS",
    "MEASURES",
    "OPTIONS",
    "OUTCOMES",
    "SIDES",
    "audit_words",
]

Words = Mapping[str, Promise]

DIMENSIONS: Final[Words] = {
    "clinic": _("Clinic"),
    "clinician": _("Clinician"),
    "technician": _("Technician"),
    "material": _("Material"),
    "kind": _("Kind of restoration"),
    "tooth_class": _("Tooth"),
    "method": _("Method of measurement"),
}
# What else narrows a list of cases, in the order it is said.
FILTERS: Final[Words] = {
    **DIMENSIONS,
    "cause": _("Cause of the remake"),
    "outcome": _("What became of it"),
    "flagged": _("Query about clearance"),
    "option": _("Option chosen"),
    "first_verdict": _("Verdict at submission"),
    "first_class": _("Clearance at submission"),
    "built_class": _("Clearance as built"),
}
MEASURES: Final[Words] = {
    "remade": _("Remade after dispatch"),
    "opposing_adjusted": _("Opposing tooth adjusted at seating"),
    "restoration_adjusted": _("Restoration adjusted at seating"),
    "internal": _("Made again before dispatch"),
    "as_delivered": _("Fitted as delivered"),
    "adverse": _("Remade, not fitted or opposing tooth adjusted"),
    "reported": _("Reported what became of it"),
    "flagged": _("Query about clearance before dispatch"),
    "accepted": _("Built below the need, accepted or within uncertainty"),
}
OUTCOMES: Final[Words] = {
    "remade": _("Remade"),
    "not_fitted": _("Not fitted"),
    "opposing_adjusted": _("Opposing tooth adjusted"),
    "restoration_adjusted": _("Restoration adjusted"),
    "as_delivered": _("Fitted as delivered"),
    "not_reported": _("Not reported"),
    "internal": _("Made again before dispatch"),
    "flagged": _("Query before dispatch"),
    "accepted": _("Accepted below the need"),
    "adverse": _("Remade, not fitted or opposing tooth adjusted"),
    "reported": _("Reported"),
}
# The worst required site: its need less the middle of what was measured.
CLASSES: Final[Words] = {
    "sufficient": _("Sufficient"),
    "undecided": _("Undecided"),
    "up_to_025": _("Short by up to 0.25 mm"),
    "up_to_050": _("Short by 0.25 to 0.50 mm"),
    "over_050": _("Short by more than 0.50 mm"),
    "unmeasured": _("Not measured"),
    "": _("No check"),
}
# Where one class has too few to show, neighbours are told together; of the rest in a row
# the words of each follow one another.
_TOGETHER: Final[Words] = {
    "up_to_025.up_to_050": _("Short by up to 0.50 mm"),
    "up_to_050.over_050": _("Short by more than 0.25 mm"),
    "up_to_025.up_to_050.over_050": _("Short"),
}
OPTIONS: Final[Words] = {
    **{kind.value: words for kind, words in ANSWERS.items()},  # type: ignore[attr-defined]  # -- the keys are AnswerKind
    "withdrawn": _("Query withdrawn"),
    "": _("No query"),
}
SIDES: Final[Words] = {
    "laboratory": _("Laboratory: from the records' arrival to the query"),
    "clinic": _("Clinic: from the query to the answer"),
}
CLOSED: Final[Words] = {
    "answered": _("Answered"),
    "withdrawn": _("Withdrawn by the laboratory"),
    "open": _("Waiting for the clinic"),
    "": _("Waiting for the clinic"),
}
GROUPINGS: Final[Words] = {
    "month": _("by month"),
    "quarter": _("by quarter"),
    "half_year": _("by half year"),
}
FLAGGED: Final[Words] = {"yes": _("with a query"), "no": _("without a query")}


def _said(words: Words) -> dict[str, str]:
    return {key: str(text) for key, text in words.items()}


def _together(key: str, classes: Mapping[str, str]) -> str:
    """Return the words of several classes: the shortages as one, the others before."""
    run = RUNS[key]
    short = ".".join(one for one in run if one.endswith(("_025", "_050")))
    before = [classes[one] for one in run if one not in short.split(".")]
    last = str(_TOGETHER[short]) if short in _TOGETHER else classes.get(short, "")
    found = [*before, last] if short else before
    first, *others = found
    return " / ".join([first, *(one[:1].lower() + one[1:] for one in others)])


def audit_words() -> dict[str, dict[str, str]]:
    """Return list -> key -> words in the reader's language, for a report's labels.

    Names of clinics, people, materials and a laboratory's own causes are not known
    here; the service adds them.
    """
    kinds = {kind.value: capfirst(_now(label(kind))) for kind in Kind}
    classes = _said(CLASSES)
    classes |= {key: _together(key, classes) for key in RUNS}
    return {
        "kind": {**kinds, "bridge": _now("Bridge")},
        "tooth_class": {one.value: capfirst(_now(label(one))) for one in ToothClass},
        "method": {
            **{one.value: capfirst(_now(label(one))) for one in Method},
            "": _now("Not measured by the clinic"),
        },
        "cause": _said(CAUSES),
        "dimension": _said(DIMENSIONS),
        "measure": _said(MEASURES),
        "outcome": {**_said(OUTCOMES), "other": _now("Any")},
        "shortage": classes,
        "first_class": classes,
        "built_class": classes,
        "option": {
            **_said(OPTIONS),
            "other": _now("Any"),
            "others": _now("All other options"),
        },
        "verdict": {
            **{one.value: capfirst(_now(label(one))) for one in Verdict},
            "": _now("No check"),
            # Ways that few took, taken together.
            "other": _now("All other ways"),
        },
        "attribution": {**_said(ATTRIBUTIONS), "others": _now("All others")},
        "detected": {
            **_said(DETECTED),
            "": _now("Not stated"),
            "others": _now("All others"),
        },
        "side": _said(SIDES),
        "closed": _said(CLOSED),
        "flagged": _said(FLAGGED),
        "opposing": {
            "without": _now("Without a query"),
            "with": _now("After a query"),
        },
        "grouping": _said(GROUPINGS),
    }
