"""What came of it: made again at the bench, fitted, not fitted, remade."""

from cases.enums import Attribution, Cause, Detected
from cases.enums import AuditEvent as E
from cases.lifecycle import CaseState as S
from cases.management.volume.houses import Person
from cases.management.volume.life import CLINIC, DAY, LABORATORY, Life
from cases.management.volume.samples import Sample
from cases.management.volume.text import NULL, iso, told
from cases.services.remake_traces import EXPLAINED_BY_SHORTAGE

__all__ = ["fitted", "made_again_inside"]

_AFTER = (
    *((Cause.MARGINAL_FIT, 0.27), (Cause.OCCLUSION_HIGH, 0.14), (Cause.SHADE, 0.14)),
    *((Cause.PROXIMAL_CONTACT, 0.11), (Cause.IMPRESSION, 0.08), (Cause.FRACTURE, 0.08)),
    *((Cause.OCCLUSION_THIN, 0.06), (Cause.PERFORATION, 0.05), (Cause.CONTOUR, 0.04)),
    *((Cause.WRONG_PRESCRIPTION, 0.02), (Cause.PATIENT, 0.01)),
)
_SHORT = (
    *((Cause.CLEARANCE_RISK_ACCEPTED, 0.4), (Cause.OCCLUSION_THIN, 0.2)),
    *((Cause.PERFORATION, 0.2), (Cause.OCCLUSION_HIGH, 0.1), (Cause.FRACTURE, 0.1)),
)
_INSIDE = (
    *((Cause.MISCAST, 0.4), (Cause.FRACTURE, 0.25), (Cause.MARGINAL_FIT, 0.2)),
    *((Cause.SHADE, 0.1), (Cause.LABORATORY_ERROR, 0.05)),
)
_WHOSE = (
    *((Attribution.CLINIC, 0.3), (Attribution.LABORATORY, 0.35)),
    *((Attribution.SHARED, 0.2), (Attribution.UNDETERMINED, 0.15)),
)
_REMAKING = 24 * DAY
_WHERE_INSIDE = (Detected.FRAMEWORK, Detected.CERAMIC, Detected.FINAL_CHECK)


def _chosen(table: tuple[tuple[str, float], ...], dice: float) -> str:
    """Return the entry on which a number from 0 to 1 falls; the shares add up to 1."""
    for found, share in table:
        dice -= share
        if dice < 0:
            return str(found)
    return str(table[-1][0])


def _remake_row(
    life: Life,
    new_case: str,
    internal: str,
    teeth: str,
    cause: str,
    where: str,
    sides: tuple[str, str],
    who: Person,
    at: int,
) -> int:
    pk = life.sheets.number("cases_remake")
    life.sheets.add(
        "cases_remake",
        f"{pk}\t{life.pk}\t{new_case}\t{internal}\t{teeth}\t{cause}\t{where}\t{sides[0]}"
        f"\t{sides[1]}\t\t{who.membership}\t{who.name}\t{iso(at)}",
    )
    return pk


def made_again_inside(life: Life, at: int) -> None:
    """The laboratory makes it again before it leaves."""
    if life.late(at):
        return
    who, words = life.lot.technician, life.lot.words
    cause = _chosen(_INSIDE, words[1])
    where = _WHERE_INSIDE[int(words[2] * len(_WHERE_INSIDE))].value
    pk = _remake_row(life, NULL, "t", "[]", cause, where, ("", ""), who, at)
    drawn = _traced(life, pk, cause, who, at)
    content = _told(pk, cause, where, [], drawn)
    life.entry(E.INTERNAL_REMAKE, at, who, LABORATORY, S.IN_FABRICATION, content)


def fitted(life: Life, at: int, *, first: bool) -> tuple[Sample, int] | None:
    """Arrival, seating and perhaps a remake; return what is made again, from when.

    ``first``: not itself a remake; of those only the good end is told.
    """
    lot = life.lot
    arrived = at + lot.steps[9]
    if life.late(arrived):
        return None
    who = lot.clinic.assistant
    life.entry(E.RECEIPT, arrived, who, CLINIC, S.DISPATCHED, '{"note":""}')
    seated = arrived + lot.steps[10]
    if life.late(seated) or (first and not lot.reported):
        return None
    good = lot.fitted or not first
    _seated(life, seated, good=good, first=first)
    if not first or not any(lot.remade):
        return None
    return _remade(
        life, seated + 30 if not good else max(seated + DAY, at + lot.remade_after)
    )


def _findings(life: Life, *, good: bool, first: bool) -> list[str]:
    lot = life.lot
    if not first:
        return ["as_delivered"]
    if not good:
        found = ["margin_open"] if lot.words[3] < 0.5 else ["too_high"]
    else:
        found = ["provisionally_cemented"] if lot.provisional else []
    if lot.opposing:
        found.append("opposing_adjusted")
    if lot.adjusted and good:
        found.append("restoration_adjusted")
    return sorted(found) or ["as_delivered"]


def _seated(life: Life, at: int, *, good: bool, first: bool) -> None:
    lot, who = life.lot, life.lot.clinician
    findings = _findings(life, good=good, first=first)
    amount = NULL
    if "opposing_adjusted" in findings:
        amount = f"0.{lot.amount}0"
    outcome = "fitted" if good else "not_fitted"
    named = told(findings)
    life.sheets.add(
        "cases_fitreport",
        f"{life.pk}\t{outcome}\t{named}\t{amount}\t[]\t{lot.minutes}\t{NULL}\t\t"
        f"{who.membership}\t{who.name}\t{iso(at)}",
    )
    after = S.FITTED if good else S.NOT_FITTED
    ground = "null" if amount == NULL else f'"{amount}"'
    content = (
        f'{{"findings":{named},"opposing_adjusted_mm":{ground},"opposing_teeth":[],'
        f'"outcome":"{outcome}"}}'
    )
    life.entry(E.FIT_REPORTED, at, who, CLINIC, after, content)


def _remade(life: Life, at: int) -> tuple[Sample, int] | None:
    """The clinic records the remake, and from when the new case was signed."""
    lot, sample = life.lot, life.cut.sample
    # A remake takes its time too; where all is to have ended, it has to be there.
    if life.late(at + (_REMAKING if life.ink.plan.ended else 60)):
        return None
    parts = [p for p, again in zip(sample.parts, lot.remade, strict=True) if again]
    teeth = tuple(tooth for part in parts for tooth in part)
    everything = len(parts) == len(sample.parts)
    table = _SHORT if sample.verdict == "insufficient" else _AFTER
    cause = _chosen(table, lot.words[4])
    where = (
        Detected.SEATING if life.state == S.NOT_FITTED else Detected.AFTER_CEMENTATION
    )
    mine, theirs = _chosen(_WHOSE, lot.words[5]), ""
    if lot.words[6] < 0.6:
        theirs = mine if lot.words[6] < 0.4 else Attribution.DISPUTED.value
    # The next case to be told is the one that remakes this.
    new_case = str(life.sheets.last["cases_case"] + 1)
    who, named = lot.clinician, [] if everything else list(teeth)
    pk = _remake_row(
        *(life, new_case, "f", told(named), cause, where.value, (mine, theirs)),
        *(who, at),
    )
    _stated(life, pk, CLINIC, mine, who, at)
    drawn = _traced(life, pk, cause, who, at)
    content = _told(pk, cause, where.value, named, drawn)
    life.entry(E.REMAKE_OPENED, at, who, CLINIC, life.state, content)
    if theirs:
        _answered(life, pk, theirs, at + 45)
    return life.ink.enough[(sample.material, teeth)], at + 60


def _told(
    remake: int, cause: str, where: str, teeth: list[str], drawn: list[dict[str, str]]
) -> str:
    """Return what the timeline keeps of a remake, as canonical JSON."""
    said = {"cause": cause, "note": "", "remake": remake, "teeth": teeth}
    return told({**said, "detected_at": where, "traces": drawn})


def _answered(life: Life, remake: int, whose: str, at: int) -> None:
    """The laboratory says how it sees the remake."""
    who = life.lot.technician
    _stated(life, remake, LABORATORY, whose, who, at)
    said = {"remake": remake, "side": LABORATORY, "attribution": whose, "note": ""}
    life.entry(E.REMAKE_STATED, at, who, LABORATORY, life.state, told(said))


def _stated(
    life: Life, remake: int, side: str, whose: str, who: Person, at: int
) -> None:
    row = f"{remake}\t{side}\t{whose}\t\t{who.membership}\t{who.name}\t{iso(at)}"
    life.sheets.add("cases_remakestatement", row)


def _traced(
    life: Life, remake: int, cause: str, who: Person, at: int
) -> list[dict[str, str]]:
    """Lead back to the sites that were short, where the cause can come of that.

    Returns what the timeline says of them, as ``services.remake_traces`` draws it.
    """
    if cause not in EXPLAINED_BY_SHORTAGE:
        return []
    drawn = []
    for nth, (sample, numbers) in enumerate(life.judged):
        built = nth == len(life.judged) - 1
        for place, site in enumerate(sample.sites):
            short = site[3] == "insufficient" or (built and site[3] == "undecided")
            if not short:
                continue
            coverage = life.coverages.get(place) if built else None
            within = coverage is not None and life.uncertain
            answer = NULL if within else life.answer or NULL
            life.sheets.add(
                "cases_remaketrace",
                f"{remake}\t{numbers[place]}\t{answer}\t{coverage or NULL}\tt\t"
                f"{who.membership}\t{who.name}\t{iso(at)}\t{NULL}\t\t\t{NULL}",
            )
            keys = ("tooth", "site", "quantity", "verdict")
            drawn.append(dict(zip(keys, site[:4], strict=True)))
    return drawn
