"""How long the impact of a rule set draft takes over many cases, and in what memory.

Run by hand: ``.venv/bin/python -m pytest tests/bench/bench_impact.py -s``. Two
processes work one lane each, as two workers would, while this one watches the
progress. Promised: 100,000 cases in less than 60 s on two cores, in flat memory.

Twice in one run: a draft that changes one material (cases of others are counted, not
judged), and one that changes the guard factor (every case is judged).
"""

import json
import multiprocessing
import random
import resource
import time
from collections.abc import Iterator
from dataclasses import dataclass

import psycopg
import pytest
from django.db import connections

from cases.models import Case, RuleSetDraft, RuleSetImpact, RuleSetImpactCase
from cases.services import rule_set_impact, rule_sets
from cases.services.rule_set_impact import LANES, impact_slice
from cases.services.rule_sets_compare import Comparison
from cases.tenancy import Actor, acting
from rules.loader import shipped_rule_set
from tests.cases.services.test_rule_sets import act, copied, manager
from tests.cases.services.test_rule_sets_impact import LATER, need_more
from tests.database import superuser
from tests.play import Play, build_world, sufficient_unit

SECONDS = 60
# Growth of one worker beyond what it had when it began, at any number of cases.
MOST_MB = 48
DISTINCT = 2_000
MATERIALS = (
    {"material": "metal_ceramic", "occlusal_surface": "ceramic"},
    {"material": "zirconia_3y"},
    {"material": "lithium_disilicate"},
    {"material": "full_metal"},
)
SITES = ("buccal_cusps", "lingual_cusps", "central_fossa")
POSITIONS = ("maximal_intercuspation", "right_laterotrusion", "left_laterotrusion")
STRIPS = ("0.50", "0.70", "1.00", "1.50", "2.00", "2.50")
FIRST_ID = 1_000_000

CASES = """
INSERT INTO cases_case (id, code, clinic_id, laboratory_id, prescriber_id,
  created_by_id, state, version, round, revision, rule_set_digest, verdict, held_from,
  hold_targets, records_due, missing, pan_number, contents_received, charged_work,
  created_at, submitted_at, moved_at, current_check_id)
SELECT n, lpad(n::text, 10, '0'), clinic_id, laboratory_id, prescriber_id,
  created_by_id, state, version, round, revision, rule_set_digest, verdict, held_from,
  hold_targets, records_due, missing, '', contents_received, charged_work,
  created_at - n * interval '1 second', submitted_at, moved_at, n
FROM cases_case, generate_series(%s::int, %s::int) n WHERE code = %s
"""
CHECKS = (
    "COPY cases_check (id, case_id, revision, round, rule_set_digest, request, result,"
    " request_sha256, verdict, made_at) FROM STDIN"
)
SITE_VERDICTS = (
    "COPY cases_siteverdict (case_id, stored_check_id, tooth, site, quantity, verdict,"
    " is_point, at_or_above_need) FROM STDIN"
)


@dataclass(frozen=True)
class Sample:
    """A check as it would be stored: request, verdict, verdicts of its sites."""

    request: str
    verdict: str
    sites: tuple[tuple[str, str, str, str], ...]


def _reading(dice: random.Random, site: str, position: str) -> dict:
    row = {"site": site, "position": position, "basis": "mouth", "side": "clinic"}
    if dice.random() < 0.3:
        value = f"{dice.uniform(0.4, 2.6):.2f}"
        return {**row, "method": "silicone_caliper", "value_mm": value}
    place = dice.randrange(len(STRIPS) - 1)
    strips = {"passes_mm": STRIPS[place], "held_mm": STRIPS[place + 1]}
    return {**row, "method": "strip", **strips}


def _unit(dice: random.Random, tooth: str) -> dict:
    positions = POSITIONS[: dice.choice((1, 1, 2, 3))]
    return {
        "tooth": tooth,
        "kind": "crown",
        **dice.choice(MATERIALS),
        "relation": "normal",
        "antagonist": "natural",
        "readings": [_reading(dice, s, p) for s in SITES for p in positions],
    }


def samples() -> list[Sample]:
    """Return different checks, judged by the shipped set as the portal would."""
    dice = random.Random(20260302)  # noqa: S311 -- the same cases in every run
    shipped = shipped_rule_set()
    # Everything is in the scope of a set nobody knows.
    comparison = Comparison(shipped)
    found = []
    for _ in range(DISTINCT):
        teeth = dice.sample(["16", "26", "36", "46", "15", "25", "35", "45"], 2)
        units = [_unit(dice, tooth) for tooth in teeth[: dice.choice((1, 1, 1, 2))]]
        request = {"units": units}
        judged = comparison.judged("0" * 64, request)
        assert judged is not None
        sites = tuple((*key, verdict) for key, verdict in judged.sites.items())
        found.append(Sample(json.dumps(request), judged.verdict, sites))
    return found


def _checks(rows: range, pool: list[Sample], digest: str) -> Iterator[tuple]:
    for n in rows:
        one = pool[n % len(pool)]
        # A real result is some kilobytes, stored out of line and not read here.
        yield (
            *(n, n, 1, 1, digest, one.request, "{}", "0" * 64, one.verdict),
            "2026-03-02",
        )


def _sites(rows: range, pool: list[Sample]) -> Iterator[tuple]:
    for n in rows:
        for site in pool[n % len(pool)].sites:
            yield (n, n, *site, False, False)


def _copy(raw: psycopg.Connection, statement: str, rows: Iterator[tuple]) -> None:
    with raw.cursor() as cursor, cursor.copy(statement) as copy:
        for row in rows:
            copy.write_row(row)


def fill(case: Case, count: int) -> None:
    """Store so many cases with their checks, past the triggers."""
    rows, pool = range(FIRST_ID, FIRST_ID + count), samples()
    digest = shipped_rule_set().digest
    with superuser() as raw:
        raw.execute("SET LOCAL session_replication_role = replica")
        raw.execute(CASES, [rows[0], rows[-1], case.code])
        _copy(raw, CHECKS, _checks(rows, pool, digest))
        _copy(raw, SITE_VERDICTS, _sites(rows, pool))
        raw.execute(
            "ANALYZE cases_case; ANALYZE cases_check; ANALYZE cases_siteverdict"
        )


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _lane(organisation_id: int, code: str, lane: int, answers) -> None:
    before, began, slices = _peak_mb(), time.perf_counter(), 1
    while impact_slice(
        organisation_id=organisation_id, impact_code=code, lane=lane, at=LATER
    ):
        slices += 1
    connections.close_all()
    took = time.perf_counter() - began
    answers.put((lane, took, _peak_mb() - before, _peak_mb(), slices))


def _progress(who: Actor, impact: RuleSetImpact) -> int:
    with acting(who):
        done = RuleSetImpact.objects.values_list("done", flat=True).get(pk=impact.pk)
    connections.close_all()
    return done


def compare(who: Actor, draft: RuleSetDraft, name: str) -> tuple[float, float]:
    """Compare with two processes; return seconds and the larger growth in MB."""
    with acting(who):
        impact = rule_set_impact.impact_start(actor=who, code=draft.code, at=LATER)
    # A forked process must not share this one's connections.
    connections.close_all()
    fork = multiprocessing.get_context("fork")
    answers = fork.Queue()
    lanes = [
        fork.Process(
            target=_lane, args=(who.organisation_id, impact.code, lane, answers)
        )
        for lane in LANES
    ]
    began = time.perf_counter()
    for lane in lanes:
        lane.start()
    shown = {0}
    while any(lane.is_alive() for lane in lanes):
        shown.add(_progress(who, impact))
        time.sleep(0.25)
    took = time.perf_counter() - began
    found = sorted(answers.get() for _ in LANES)
    with acting(who):
        after = RuleSetImpact.objects.get(pk=impact.pk)
        listed = RuleSetImpactCase.objects.filter(impact=impact).count()
    assert (after.status, after.done, listed) == ("done", after.total, after.changed)
    print(
        f"{after.total:7} cases, {name}: {took:5.1f} s"
        f" ({after.total / took:,.0f} a second), {after.changed} changed,"
        f" progress seen {len(shown)} times; per lane "
        + ", ".join(
            f"{seconds:.1f} s in {slices} slices, peak {peak:.0f} MB (+{growth:.0f})"
            for _lane, seconds, growth, peak, slices in found
        )
    )
    assert len(shown) > 2
    return took, max(growth for _lane, _seconds, growth, _peak, _slices in found)


def one_material(who: Actor) -> RuleSetDraft:
    return need_more(who, copied(who, "material"))


def guard_factor(who: Actor) -> RuleSetDraft:
    draft = copied(who, "guard")
    return act(
        who,
        rule_sets.draft_settings_save,
        draft.code,
        name=draft.name,
        label=draft.label,
        decision={**draft.document["decision"], "k": "1"},
        methods=draft.document["methods"],
    )


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("count", [10_000, 100_000])
def test_impact_over_many_cases(count: int):
    play = Play(build_world())
    case = play.at_check(sufficient_unit())
    who = manager(play.world.technician.organisation_id, "First")
    fill(case, count)
    print()
    for name, draft in (
        ("one material changed", one_material(who)),
        ("every case concerned", guard_factor(who)),
    ):
        took, growth = compare(who, draft, name)
        assert took < SECONDS * count / 100_000 + 5
        assert growth < MOST_MB
