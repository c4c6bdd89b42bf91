"""What every remake consists of, inside the laboratory and after it, as it comes in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from cases.enums import Attribution, Cause, Detected
from cases.errors import Invalid, InvalidField
from cases.models import Attachment, Case, RemakeCause, Unit
from cases.services.texts import refuse_overrides

__all__ = [
    "ATTRIBUTIONS",
    "CAUSES",
    "DETECTED_AFTER",
    "DETECTED_BEFORE",
    "MAX_EVIDENCE",
    "LossInput",
    "RemakeDetails",
    "RemakeParts",
    "loss_faults",
    "remake_read",
    "remake_units",
    "text_faults",
]

CAUSES = tuple(Cause.values)
ATTRIBUTIONS = ("", *Attribution.values)
D = Detected
# Where a fault of work that has not left the laboratory can be seen, and where one of
# work that has.
DETECTED_BEFORE = (
    D.INTAKE,
    D.MODEL,
    D.DESIGN,
    D.FRAMEWORK,
    D.CERAMIC,
    D.FINAL_CHECK,
    D.TRY_IN,
)
DETECTED_AFTER = (
    D.INTAKE,
    D.DESIGN,
    D.TRY_IN,
    D.SEATING,
    D.AFTER_CEMENTATION,
    D.AFTER_DISPATCH,
)
# A handful of photos shows any fault; more is a file of its own.
MAX_EVIDENCE = 12
MAX_NOTE = 4000
# Ten digits fit the column; nobody loses ten years over one crown.
_MAX_AMOUNT = Decimal("99999999.99")
_MAX_MINUTES = 100_000
_MAX_DAYS = 3650


@dataclass(frozen=True, slots=True)
class LossInput:
    """What a remake costs one side: money in its currency, minutes, days lost."""

    amount: Decimal | None = None
    minutes: int | None = None
    days_lost: int | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing was entered."""
        return self.amount is None and self.minutes is None and self.days_lost is None


@dataclass(frozen=True, slots=True)
class RemakeDetails:
    """What may be said of a remake beside its cause.

    ``teeth`` empty: all. ``evidence`` are codes of files of the case, ``files`` new ones
    (name, content). ``loss`` is seen by the own side alone.
    """

    teeth: Sequence[str] = ()
    evidence: Sequence[str] = ()
    files: Sequence[tuple[str, bytes]] = ()
    loss: LossInput | None = None


@dataclass(frozen=True, slots=True)
class RemakeParts:
    """A remake that may be stored. ``teeth`` is empty where all are made again."""

    cause: str
    detected_at: str
    attribution: str
    note: str
    teeth: list[str]
    evidence: list[Attachment]
    files: Sequence[tuple[str, bytes]]
    loss: LossInput | None


def text_faults(
    pointer: str, text: str, *, limit: int = MAX_NOTE
) -> list[InvalidField]:
    """Return what is wrong with a text that may be empty."""
    if len(text) > limit:
        message = "Write at most {limit} characters."
        return [InvalidField(pointer, message, (("limit", str(limit)),))]
    try:
        refuse_overrides({pointer: text})
    except Invalid as error:
        return list(error.fields)
    return []


def _within(value: Decimal | int, most: Decimal | int) -> bool:
    return Decimal(value).is_finite() and 0 <= value <= most


def loss_faults(loss: LossInput | None, pointer: str = "/loss") -> list[InvalidField]:
    """Return which figures of a loss cannot be; negative ones never can."""
    if loss is None:
        return []
    bounds: Mapping[str, tuple[Decimal | int | None, Decimal | int]] = {
        "amount": (loss.amount, _MAX_AMOUNT),
        "minutes": (loss.minutes, _MAX_MINUTES),
        "days_lost": (loss.days_lost, _MAX_DAYS),
    }
    faults = [
        InvalidField(
            f"{pointer}/{name}",
            "Enter a number from 0 to {most}.",
            (("most", str(most)),),
        )
        for name, (value, most) in bounds.items()
        if value is not None and not _within(value, most)
    ]
    amount = loss.amount
    if not faults and amount is not None and amount != round(amount, 2):
        faults.append(InvalidField(f"{pointer}/amount", "At most two decimals."))
    return faults


def remake_units(case: Case) -> list[Unit]:
    """Return the units of the prescription in force, in its order."""
    return list(
        Unit.objects.filter(
            case=case,
            prescription__revision=case.revision,
            submitted_at__isnull=False,
        ).order_by("position")
    )


def _cause_fault(case: Case, cause: str) -> list[InvalidField]:
    if cause in CAUSES:
        return []
    own = RemakeCause.objects.filter(
        code=cause, laboratory_id=case.laboratory_id, retired_at__isnull=True
    )
    if cause and own.exists():
        return []
    return [InvalidField("/cause", "Choose a cause from the list.")]


def _teeth_faults(
    units: Sequence[Unit], teeth: Sequence[str], *, whole_spans: bool
) -> list[InvalidField]:
    by_tooth = {unit.tooth: unit for unit in units}
    faults = [
        InvalidField(f"/teeth/{i}", "Choose from the teeth of this case.")
        for i, tooth in enumerate(teeth)
        if tooth not in by_tooth
    ]
    if faults or not whole_spans:
        return faults
    chosen = {by_tooth[tooth].span for tooth in teeth}
    left = {unit.span for unit in units if unit.tooth not in teeth}
    if any(span in left for span in chosen if span):
        faults.append(
            InvalidField(
                "/teeth",
                "A bridge is made again as a whole: choose all of its teeth.",
            )
        )
    return faults


def _evidence(case: Case, codes: Sequence[str]) -> dict[str, Attachment]:
    """Return the files of the case the actor sees, by code."""
    if not codes:
        return {}
    rows = Attachment.objects.filter(case=case, code__in=codes)
    return {row.code: row for row in rows}


def remake_read(
    case: Case,
    *,
    cause: str,
    detected_at: str,
    detected_known: Sequence[str],
    attribution: str,
    note: str,
    details: RemakeDetails,
    whole_spans: bool,
) -> RemakeParts:
    """Return what may be stored.

    ``whole_spans``: only whole bridges may be named, as the teeth of a new draft are.

    Raises:
        Invalid: every field that cannot be used.
    """
    faults = _cause_fault(case, cause)
    if detected_at and detected_at not in detected_known:
        faults.append(InvalidField("/detected_at", "Choose from the list."))
    if attribution not in ATTRIBUTIONS:
        faults.append(InvalidField("/attribution", "Choose from the list."))
    faults += text_faults("/note", note)
    units = remake_units(case)
    faults += _teeth_faults(units, details.teeth, whole_spans=whole_spans)
    found = _evidence(case, details.evidence)
    faults += [
        InvalidField(f"/evidence/{i}", "Choose from the files of this case.")
        for i, code in enumerate(details.evidence)
        if code not in found
    ]
    if len(details.evidence) + len(details.files) > MAX_EVIDENCE:
        limit = (("limit", str(MAX_EVIDENCE)),)
        faults.append(InvalidField("/evidence", "At most {limit} files.", limit))
    faults += loss_faults(details.loss)
    if faults:
        raise Invalid(*faults)
    teeth = [unit.tooth for unit in units if unit.tooth in details.teeth]
    return RemakeParts(
        cause=cause,
        detected_at=detected_at,
        attribution=attribution,
        note=note.strip(),
        teeth=[] if len(teeth) == len(units) else teeth,
        evidence=list(found.values()),
        files=details.files,
        loss=details.loss,
    )
