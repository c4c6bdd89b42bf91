"""Editing a rule set draft: lines, settings, products, span limits, charges.

Every function locks the draft, changes one part of its document, reads the whole
document through the rule core and stores it only without a fault. Faults point at
what was sent (``/lines/0/min_mm``, ``/material/key``); a fault that another part of
the document has because of the change keeps its pointer into the document.
"""

import copy
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from django.db import transaction

from cases.errors import NotFound
from cases.models import RuleSetDraft
from cases.services.rule_sets_store import (
    draft_being_edited,
    draft_keep,
    read_rule_set,
)
from cases.tenancy import Actor

__all__ = [
    "draft_charges_save",
    "draft_lines_save",
    "draft_material_remove",
    "draft_material_save",
    "draft_settings_save",
    "draft_span_limits_save",
]

Document = dict[str, Any]
_NEED = re.compile(r"/needs/(\d+)(.*)", re.DOTALL)
# Stands behind a material's last line, where further ones belong.
_END = object()
_OF_MATERIAL = ("needs", "span_limits", "charges")


def _same(pointer: str) -> str:
    return pointer


def _change(
    draft: RuleSetDraft,
    document: Document,
    *,
    actor: Actor,
    at: datetime,
    moved: Callable[[str], str] = _same,
) -> RuleSetDraft:
    rule_set = read_rule_set(document, moved)
    return draft_keep(draft, rule_set, actor=actor, at=at)


def _of(line: Any, material: str) -> bool:
    return isinstance(line, Mapping) and line.get("material") == material


def _placed(
    needs: Sequence[Any], material: str, lines: Sequence[Any]
) -> tuple[list[Any], list[int]]:
    """Return all needs with a material's replaced, and the place of every new line.

    The first lines take the places of the old ones, the rest follow the last.
    """
    old = [i for i, need in enumerate(needs) if _of(need, material)]
    slots = frozenset(old)
    end = old[-1] + 1 if old else len(needs)
    new = iter(
        {**line, "material": material} if isinstance(line, Mapping) else line
        for line in lines
    )
    found: list[Any] = []
    places: list[int] = []
    for i, need in enumerate([*needs[:end], _END, *needs[end:]]):
        fitting = new if need is _END else islice(new, 1) if i in slots else None
        for line in fitting or ():
            places.append(len(found))
            found.append(line)
        if fitting is None:
            found.append(need)
    return found, places


@transaction.atomic
def draft_lines_save(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    material: str,
    lines: Sequence[Any],
    at: datetime,
) -> RuleSetDraft:
    """Replace all needs of one material by these lines in canonical form.

    They stand where the material's lines stood, so that saving what is there changes
    nothing; ``material`` inside a line is not asked.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: every fault, at ``/lines/<row>/<key>``.
    """
    draft = draft_being_edited(actor=actor, code=code, version=version)
    document = copy.deepcopy(draft.document)
    if material not in {row["key"] for row in document["materials"]}:
        raise NotFound
    document["needs"], places = _placed(document["needs"], material, lines)

    def moved(pointer: str) -> str:
        if pointer == "/needs":  # too many of them
            return "/lines"
        found = _NEED.fullmatch(pointer)
        if found is None or int(found[1]) not in places:
            return pointer
        return f"/lines/{places.index(int(found[1]))}{found[2]}"

    return _change(draft, document, actor=actor, at=at, moved=moved)


@transaction.atomic
def draft_settings_save(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    name: str,
    label: str,
    decision: Mapping[str, Any],
    methods: Sequence[Any],
    at: datetime,
) -> RuleSetDraft:
    """Change name, label (its version), the decision rule and the methods' u.

    ``decision`` and ``methods`` are whole, in canonical form; a changed cement space
    or adjustment allowance changes every need built from a thickness.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: every fault, at ``/name``, ``/label``, ``/decision/…``,
            ``/methods/<row>/…``.
    """
    draft = draft_being_edited(actor=actor, code=code, version=version)
    document = copy.deepcopy(draft.document)
    document |= {
        "name": name,
        "version": label,
        "decision": dict(decision),
        "methods": list(methods),
    }
    return _change(draft, document, actor=actor, at=at)


@transaction.atomic
def draft_material_save(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    material: Mapping[str, Any],
    at: datetime,
) -> RuleSetDraft:
    """Add a material or product, or change the one with its key.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: every fault, at ``/material/<key>``; lines of the document that do
            not fit the changed material keep their pointer.
    """
    draft = draft_being_edited(actor=actor, code=code, version=version)
    document = copy.deepcopy(draft.document)
    rows = document["materials"]
    keys = [row["key"] for row in rows]
    place = keys.index(material["key"]) if material.get("key") in keys else len(rows)
    rows[place : place + 1] = [dict(material)]

    def moved(pointer: str) -> str:
        here = f"/materials/{place}"
        if pointer != here and not pointer.startswith(f"{here}/"):
            return pointer
        return f"/material{pointer.removeprefix(here)}"

    return _change(draft, document, actor=actor, at=at, moved=moved)


@transaction.atomic
def draft_material_remove(
    *, actor: Actor, code: str, version: int | None, material: str, at: datetime
) -> RuleSetDraft:
    """Remove a material or product with its needs, span limits and charges.

    Raises:
        NotFound: no such draft, or no such material in it.
        NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: a product stands under it, at the product's pointer.
    """
    draft = draft_being_edited(actor=actor, code=code, version=version)
    document = copy.deepcopy(draft.document)
    rows = document["materials"]
    document["materials"] = [row for row in rows if row["key"] != material]
    if len(document["materials"]) == len(rows):
        raise NotFound
    for name in _OF_MATERIAL:
        if name in document:
            document[name] = [x for x in document[name] if not _of(x, material)]
    return _change(draft, document, actor=actor, at=at)


def _list_save(
    name: str,
    rows: Sequence[Any],
    *,
    actor: Actor,
    code: str,
    version: int | None,
    at: datetime,
) -> RuleSetDraft:
    draft = draft_being_edited(actor=actor, code=code, version=version)
    document = {**copy.deepcopy(draft.document), name: list(rows)}
    return _change(draft, document, actor=actor, at=at)


@transaction.atomic
def draft_charges_save(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    charges: Sequence[Any],
    at: datetime,
) -> RuleSetDraft:
    """Replace what changes to a material cost, by lines in canonical form.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: every fault, at ``/charges/<row>/<key>``.
    """
    return _list_save(
        "charges", charges, actor=actor, code=code, version=version, at=at
    )


@transaction.atomic
def draft_span_limits_save(
    *,
    actor: Actor,
    code: str,
    version: int | None,
    span_limits: Sequence[Any],
    at: datetime,
) -> RuleSetDraft:
    """Replace how far materials reach, by lines in canonical form.

    Raises:
        NotFound, NotAllowed, StaleVersion, Conflict: as for every edit.
        Invalid: every fault, at ``/span_limits/<row>/<key>``.
    """
    return _list_save(
        "span_limits", span_limits, actor=actor, code=code, version=version, at=at
    )
