"""What is short is asked about: query, answer, countersignature, new records."""

from cases.enums import AuditEvent as E
from cases.lifecycle import ANSWER_TARGETS, AnswerKind
from cases.lifecycle import CaseState as S
from cases.management.volume.houses import Person
from cases.management.volume.life import CLINIC, DAY, LABORATORY, Life, Signed
from cases.management.volume.text import NULL, Form, escaped, iso, quoted, raw, told
from cases.services.content import SCHEMA

__all__ = ["asked", "within_uncertainty"]

CHOSEN = "This is my decision on the laboratory's query."
COUNTERSIGNED = "I have read the grounds and will build this as documented."
QUESTION = "Too little room at the sites listed. Which way shall we take?"
WITHDRAWN = "Within the measuring uncertainty; we build it as it is."
_GROUNDS = {
    "reduction_coping": "Confined to one surface; I trim by the coping.",
    "accept_risk": "Explained to the patient, who wants no second appointment.",
    "adjust_opposing": "An over-erupted cusp that was to be levelled anyway.",
    "cancel": "The tooth has to be treated otherwise first.",
}
_RECENT, _STILL_WAITING = 20 * DAY, 0.3
_CONSENT = ("accept_risk", "adjust_opposing")
_RECORDS = {
    "re_preparation": '["impression","jaw_record","readings"]',
    "adjust_opposing": '["jaw_record","opposing_impression","readings"]',
}
_GAPS = ("case", "flag", "revision", "round", "rule_set", "patient", "kind")
_ANSWER = Form(
    {
        **{name: raw(name) for name in (*_GAPS, "parameters", "grounds", "consent")},
        "schema": SCHEMA,
        "purpose": "answer",
        "question": {
            "reasons": ["clearance"],
            "text": QUESTION,
            "sites": raw("sites"),
        },
        "prescription": raw("prescription"),
    }
)
_PRINTED = Form(
    {
        **{name: raw(name) for name in ("flag", "answer", "sites", "raised_by")},
        **{name: raw(name) for name in ("raised_at", "kind", "parameters", "grounds")},
        **{name: raw(name) for name in ("consent", "signature", "countersignature")},
        "reasons": ["clearance"],
        "question": QUESTION,
        "verified": False,
        "material_labels": raw("labels"),
    }
)


def _late(life: Life, at: int) -> bool:
    return at > life.ink.plan.end_minute


class _Query:
    """The query as it is being settled."""

    def __init__(self, life: Life, at: int) -> None:
        self.pk, self.code = life.sheets.number("cases_flag"), life.sheets.code()
        self.raised_at, self.who = at, life.lot.technician

    def write(self, life: Life, status: str, settled_at: int, reason: str = "") -> None:
        """Write the row as the query stands in the end."""
        cut, digest = life.cut, life.ink.rule_set.digest
        settled = iso(settled_at) if settled_at else NULL
        life.sheets.add(
            "cases_flag",
            f'{self.pk}\t{self.code}\t{life.pk}\t{status}\tlaboratory\t["clearance"]\t'
            f"{QUESTION}\t{cut.flag_sites_copied}\t{cut.flag_options}\t1\t1\t{digest}\tf\t"
            f"{self.who.membership}\t{self.who.name}\t{iso(self.raised_at)}\t{NULL}\t"
            f"{settled}\t{reason}",
        )


def asked(life: Life, way: str, at: int) -> int:
    """Ask and go the chosen way; return when it is at check again, 0 if it is not."""
    if _late(life, at):
        return 0
    query = _Query(life, at)
    life.held_from = S.AT_CHECK
    life.entry(
        *(E.FLAG_RAISED, at, query.who, LABORATORY, S.ON_HOLD),
        f'{{"flag":"{query.code}","reasons":["clearance"],'
        f'"sites":{life.cut.flag_sites},"verified":false}}',
    )
    forgotten = _forgotten(life, at)
    at += life.lot.steps[2]
    if forgotten or _late(life, at):
        query.write(life, "open", 0)
        return 0
    if way == "withdrawn":
        return _withdrawn(life, query, at)
    return _answered(life, query, way, at)


def _forgotten(life: Life, at: int) -> bool:
    """Tell whether this query of the last weeks still waits; some clinics are slow."""
    plan = life.ink.plan
    recent = not plan.ended and at > plan.end_minute - _RECENT
    return recent and life.lot.words[7] < _STILL_WAITING


def _withdrawn(life: Life, query: _Query, at: int) -> int:
    query.write(life, "withdrawn", at, WITHDRAWN)
    content = f'{{"flag":"{query.code}","reason":"{WITHDRAWN}"}}'
    life.entry(E.FLAG_WITHDRAWN, at, query.who, LABORATORY, S.AT_CHECK, content)
    return at


def _parameters(life: Life, way: str) -> str:
    if way == "re_preparation":
        return life.cut.depths
    return life.cut.changes if way == "change_material" else "{}"


def _answered(life: Life, query: _Query, way: str, at: int) -> int:
    """The clinician signs an answer."""
    sheets, who, cut = life.sheets, life.lot.clinician, life.cut
    answer, code = sheets.number("cases_answer"), sheets.code()
    parameters, grounds = _parameters(life, way), _GROUNDS.get(way, "")
    consent = "true" if way in _CONSENT else "false"
    revised = _revised(life) if way == "change_material" else "null"
    gaps = {
        "case": f'"{life.code}"',
        "flag": f'"{query.code}"',
        "revision": str(life.revision),
        "round": str(life.round),
        "rule_set": f'"{life.ink.rule_set.digest}"',
        "patient": f'"{life.patient}"',
        "kind": f'"{way}"',
        "parameters": parameters,
        "grounds": quoted(grounds),
        "consent": consent,
        "sites": cut.flag_sites,
        "prescription": revised,
    }
    signed = life.signed(who, "answer", CHOSEN, _ANSWER.filled(gaps), at)
    told_ = (
        f'{{"content_sha256":"{signed.digest}","flag":"{query.code}","kind":"{way}"}}'
    )
    row = f"{answer}\t{code}\t{life.pk}\t{query.pk}\t{way}\t{escaped(parameters)}\t{grounds}"
    row += f"\t{consent}\t{signed.pk}\t{iso(at)}"
    nothing = f"\t\t{NULL}"
    life.answer = answer
    life.hold_targets = f'["{ANSWER_TARGETS[AnswerKind(way)]}"]'
    counter = None
    if way == "accept_risk":
        life.entry(E.ANSWER_SIGNED, at, who, CLINIC, S.ON_HOLD, told_)
        counter, at = _countersigned(life, query, code, signed, at + life.lot.steps[3])
        number = NULL if counter is None else str(counter.pk)
        sheets.add("cases_answer", f"{row}\t{number}\t{nothing}")
        if counter is None:
            return 0
    else:
        query.write(life, "settled", at)
        sheets.add("cases_answer", f"{row}\t{NULL}\t{nothing}")
        at = _carried_out(life, way, signed, code, told_, at)
    printed = {
        **gaps,
        "answer": f'"{code}"',
        "raised_by": quoted(query.who.name),
        "raised_at": f'"{iso(query.raised_at)}"',
        "signature": signed.shown,
        "countersignature": "null" if counter is None else counter.shown,
        "labels": _labels(life) if way == "change_material" else "{}",
    }
    life.queries.append(_PRINTED.filled(printed))
    return at


def _carried_out(
    life: Life, way: str, signed: Signed, code: str, content: str, at: int
) -> int:
    """Do what a settled answer means; return when it is at check, 0 if it is not."""
    who = life.lot.clinician
    if way == "change_material":
        _revise(life, signed, at)
    elif way == "reduction_coping":
        _cover(life, "answer", who, at, way, code)
    target = ANSWER_TARGETS[AnswerKind(way)]
    life.entry(E.ANSWER_SIGNED, at, who, CLINIC, target, content)
    if target == S.CANCELLED:
        return 0
    return _renewed(life, way, at) if target == S.AWAITING_RECORDS else at


def _revised(life: Life) -> str:
    """Return the prescription with the other material, as the answer signs it."""
    sample = life.cut.sample.changed
    assert sample is not None  # noqa: S101 -- drawn only where there is one
    before, life.cut = life.cut, life.ink.cut(sample)
    found = life.prescribed(2)
    life.cut = before
    return found


def _revise(life: Life, signed: Signed, at: int) -> None:
    content = _revised(life)
    sample = life.cut.sample.changed
    assert sample is not None  # noqa: S101 -- as above
    life.cut = life.ink.cut(sample)
    life.prescribe(content, signed.digest, signed.pk, at)
    life.prescription_signature = signed
    life.judge(at)


def _labels(life: Life) -> str:
    key = life.cut.sample.material
    material = life.ink.rule_set.material(key)
    return told({key: material.label} if material else {})


def _countersigned(
    life: Life, query: _Query, code: str, answer: Signed, at: int
) -> tuple[Signed | None, int]:
    if _late(life, at):
        query.write(life, "countersign_due", 0)
        life.hold_targets = "[]"
        return None, 0
    who = life.lot.laboratory.responsible
    content = (
        f'{{"answer":"{code}","answer_sha256":"{answer.digest}","case":"{life.code}",'
        f'"flag":"{query.code}","patient":"{life.patient}","purpose":"countersign",'
        f'"schema":1,"sites":{life.cut.flag_sites}}}'
    )
    signed = life.signed(who, "countersign", COUNTERSIGNED, content, at)
    query.write(life, "settled", at)
    _cover(life, "answer", who, at, "accept_risk", code)
    content = f'{{"answer":"{code}","flag":"{query.code}","reason":""}}'
    life.entry(E.COUNTERSIGNED, at, who, LABORATORY, S.AT_CHECK, content)
    return signed, at


def _cover(
    life: Life, kind: str, who: Person, at: int, way: str | None, code: str | None
) -> None:
    """Write the ground on which every short site may be built."""
    sample, sheets, when = life.cut.sample, life.sheets, iso(at)
    answer = life.answer if kind == "answer" else None
    for place, site in enumerate(sample.sites):
        if site[3] not in ("insufficient", "undecided"):
            continue
        pk = life.coverages[place] = sheets.number("cases_coverage")
        low, high = site[5] or NULL, site[6] or NULL
        sheets.add(
            "cases_coverage",
            f"{pk}\t{sheets.code()}\t{life.pk}\t{kind}\t{site[0]}\t{site[1]}\t{site[2]}\t"
            f"{life.revision}\t{life.round}\t{life.ink.rule_set.digest}\t{low}\t{high}\t"
            f"{answer or NULL}\t{who.membership}\t{who.name}\t{when}",
        )
        ground = {"tooth": site[0], "site": site[1], "quantity": site[2]}
        ground |= {"verdict": site[3], "ground": kind, "answer_kind": way}
        ground |= {"answer": code, "given_by": who.name, "given_at": when}
        life.grounds.append(told(ground))


def within_uncertainty(life: Life, who: Person, at: int) -> str:
    """Cover what is undecided at the need; return the sites as canonical JSON."""
    life.uncertain = True
    _cover(life, "uncertainty", who, at, None, None)
    return told([{"tooth": s[0], "site": s[1]} for s in life.cut.sample.short])


def _renewed(life: Life, way: str, at: int) -> int:
    """New records arrive after a second preparation; return when, 0 if not yet."""
    life.records_due = _RECORDS[way]
    sent_at = at + life.lot.steps[4]
    if _late(life, sent_at):
        return 0
    redone = life.cut.sample.redone
    assert redone is not None  # noqa: S101 -- every short sample has it
    life.cut, life.records_due = life.ink.cut(redone), "[]"
    life.round += 1
    life.new_round("new_records", 2, sent_at)
    life.read(life.lot.clinic.assistant, sent_at, sent_at)
    life.judge(sent_at)
    content = (
        '{"note":"","sent":["impression","jaw_record","opposing_impression"],'
        f'"verdict":"{life.verdict}"}}'
    )
    life.entry(
        E.RECORDS_SENT, sent_at, life.lot.clinic.assistant, CLINIC, S.SUBMITTED, content
    )
    back = sent_at + life.lot.steps[5]
    if _late(life, back):
        return 0
    content = (
        '{"contents":["disinfection_stated","impression","jaw_record","opposing"]}'
    )
    life.entry(
        E.CASE_RECEIVED, back, life.lot.technician, LABORATORY, S.AT_CHECK, content
    )
    return back
