"""The answer to a query: signed, countersigned, carried out, new records sent."""

from cases.enums import AuditEvent as E
from cases.lifecycle import ANSWER_TARGETS, AnswerKind
from cases.lifecycle import CaseState as S
from cases.management.volume.life import CLINIC, LABORATORY, Life, Signed
from cases.management.volume.story_cover import cover
from cases.management.volume.text import NULL, Form, escaped, iso, quoted, raw, told
from cases.services.content import SCHEMA

__all__ = ["Query", "answered"]

CHOSEN = "This is my decision on the laboratory's query."
COUNTERSIGNED = "I have read the grounds and will build this as documented."
QUESTION = "Too little room at the sites listed. Which way shall we take?"
_GROUNDS = {
    "reduction_coping": "Confined to one surface; I trim by the coping.",
    "accept_risk": "Explained to the patient, who wants no second appointment.",
    "adjust_opposing": "An over-erupted cusp that was to be levelled anyway.",
    "cancel": "The tooth has to be treated otherwise first.",
}
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


class Query:
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


def _parameters(life: Life, way: str) -> str:
    if way == "re_preparation":
        return life.cut.depths
    return life.cut.changes if way == "change_material" else "{}"


class _Answer:
    """The answer as it is signed: what it says, as gaps of a form."""

    def __init__(self, life: Life, query: Query, way: str, at: int) -> None:
        self.way, self.at, self.query = way, at, query
        self.pk, self.code = life.sheets.number("cases_answer"), life.sheets.code()
        revised = _revised(life) if way == "change_material" else "null"
        self.said = {
            "case": f'"{life.code}"',
            "flag": f'"{query.code}"',
            "revision": str(life.revision),
            "round": str(life.round),
            "rule_set": f'"{life.ink.rule_set.digest}"',
            "patient": f'"{life.patient}"',
            "kind": f'"{way}"',
            "parameters": _parameters(life, way),
            "grounds": quoted(_GROUNDS.get(way, "")),
            "consent": "true" if way in _CONSENT else "false",
            "sites": life.cut.flag_sites,
            "prescription": revised,
        }
        content = _ANSWER.filled(self.said)
        self.signed = life.signed(life.lot.clinician, "answer", CHOSEN, content, at)
        life.answer = self.pk

    @property
    def entered(self) -> str:
        """Return what the timeline says of it, as canonical JSON."""
        return (
            f'{{"content_sha256":"{self.signed.digest}","flag":"{self.query.code}",'
            f'"kind":"{self.way}"}}'
        )

    def write(self, life: Life, counter: Signed | None) -> None:
        """Write the row, countersigned or not."""
        said, number = self.said, NULL if counter is None else str(counter.pk)
        life.sheets.add(
            "cases_answer",
            f"{self.pk}\t{self.code}\t{life.pk}\t{self.query.pk}\t{self.way}\t"
            f"{escaped(said['parameters'])}\t{_GROUNDS.get(self.way, '')}\t"
            f"{said['consent']}\t{self.signed.pk}\t{iso(self.at)}\t{number}\t\t\t{NULL}",
        )

    def printed(self, life: Life, counter: Signed | None) -> str:
        """Return what a work order prints of query and answer, as canonical JSON."""
        query = self.query
        return _PRINTED.filled(
            {
                **self.said,
                "answer": f'"{self.code}"',
                "raised_by": quoted(query.who.name),
                "raised_at": f'"{iso(query.raised_at)}"',
                "signature": self.signed.shown,
                "countersignature": "null" if counter is None else counter.shown,
                "labels": _labels(life) if self.way == "change_material" else "{}",
            }
        )


def answered(life: Life, query: Query, way: str, at: int) -> int:
    """The clinician signs an answer; return when it is at check, 0 if it is not."""
    answer = _Answer(life, query, way, at)
    counter = None
    if way == "accept_risk":
        who = life.lot.clinician
        life.entry(E.ANSWER_SIGNED, at, who, CLINIC, S.ON_HOLD, answer.entered)
        at += life.lot.steps[3]
        counter = _countersigned(life, answer, at)
        answer.write(life, counter)
        if counter is None:
            return 0
    else:
        query.write(life, "settled", at)
        answer.write(life, None)
        at = _carried_out(life, answer, at)
    life.queries.append(answer.printed(life, counter))
    return at


def _carried_out(life: Life, answer: _Answer, at: int) -> int:
    """Do what a settled answer means; return when it is at check, 0 if it is not."""
    who, way = life.lot.clinician, answer.way
    if way == "change_material":
        _revise(life, answer.signed, at)
    elif way == "reduction_coping":
        cover(life, "answer", who, at, way, answer.code)
    target = ANSWER_TARGETS[AnswerKind(way)]
    life.hold_targets = f'["{target}"]'
    life.entry(E.ANSWER_SIGNED, at, who, CLINIC, target, answer.entered)
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


def _countersigned(life: Life, answer: _Answer, at: int) -> Signed | None:
    """The responsible technician takes the risk too; None if not yet."""
    query = answer.query
    if life.late(at):
        query.write(life, "countersign_due", 0)
        return None
    who = life.lot.laboratory.responsible
    content = (
        f'{{"answer":"{answer.code}","answer_sha256":"{answer.signed.digest}",'
        f'"case":"{life.code}","flag":"{query.code}","patient":"{life.patient}",'
        f'"purpose":"countersign","schema":1,"sites":{life.cut.flag_sites}}}'
    )
    signed = life.signed(who, "countersign", COUNTERSIGNED, content, at)
    query.write(life, "settled", at)
    cover(life, "answer", who, at, answer.way, answer.code)
    life.hold_targets = f'["{S.AT_CHECK}"]'
    content = f'{{"answer":"{answer.code}","flag":"{query.code}","reason":""}}'
    life.entry(E.COUNTERSIGNED, at, who, LABORATORY, S.AT_CHECK, content)
    return signed


def _renewed(life: Life, way: str, at: int) -> int:
    """New records arrive after a second preparation; return when, 0 if not yet."""
    life.records_due = _RECORDS[way]
    sent_at = at + life.lot.steps[4]
    if life.late(sent_at):
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
    if life.late(back):
        return 0
    content = (
        '{"contents":["disinfection_stated","impression","jaw_record","opposing"]}'
    )
    life.entry(
        E.CASE_RECEIVED, back, life.lot.technician, LABORATORY, S.AT_CHECK, content
    )
    return back
