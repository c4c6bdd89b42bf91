"""What is short is asked about, and the query answered or withdrawn."""

from cases.enums import AuditEvent as E
from cases.lifecycle import CaseState as S
from cases.management.volume.life import DAY, LABORATORY, Life
from cases.management.volume.story_answer import Query, answered

__all__ = ["asked"]

WITHDRAWN = "Within the measuring uncertainty; we build it as it is."
_RECENT, _STILL_WAITING = 20 * DAY, 0.3


def asked(life: Life, way: str, at: int) -> int:
    """Ask and go the chosen way; return when it is at check again, 0 if it is not."""
    if life.late(at):
        return 0
    query = Query(life, at)
    life.held_from = S.AT_CHECK
    life.entry(
        *(E.FLAG_RAISED, at, query.who, LABORATORY, S.ON_HOLD),
        f'{{"flag":"{query.code}","reasons":["clearance"],'
        f'"sites":{life.cut.flag_sites},"verified":false}}',
    )
    forgotten = _forgotten(life, at)
    at += life.lot.steps[2]
    if forgotten or life.late(at):
        query.write(life, "open", 0)
        return 0
    if way == "withdrawn":
        return _withdrawn(life, query, at)
    return answered(life, query, way, at)


def _forgotten(life: Life, at: int) -> bool:
    """Tell whether this query of the last weeks still waits; some clinics are slow."""
    plan = life.ink.plan
    recent = not plan.ended and at > plan.end_minute - _RECENT
    return recent and life.lot.words[7] < _STILL_WAITING


def _withdrawn(life: Life, query: Query, at: int) -> int:
    query.write(life, "withdrawn", at, WITHDRAWN)
    content = f'{{"flag":"{query.code}","reason":"{WITHDRAWN}"}}'
    life.entry(E.FLAG_WITHDRAWN, at, query.who, LABORATORY, S.AT_CHECK, content)
    return at
