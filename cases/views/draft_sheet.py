"""A draft in hand: what was typed, whether it could be saved, what it would get."""

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cases.errors import IllegalTransition, Invalid, InvalidField, StaleVersion
from cases.forms.core_words import people_text
from cases.forms.draft import DraftForm, draft_input
from cases.forms.instrument_fields import Instruments
from cases.lifecycle import CaseState, Command, commands_for
from cases.selectors.cases import case_detail
from cases.selectors.instruments import instrument_choices
from cases.services import drafts
from cases.services.checks import rule_set_for
from cases.services.units import with_figures
from cases.tenancy import Actor
from cases.views.draft_state import (
    Difference,
    differences,
    draft_flat,
    kept_readings,
    show_earlier,
    with_kept,
)
from cases.views.editing import editor_of, prescribers
from cases.views.verdicts import LiveVerdict, judged

if TYPE_CHECKING:
    from cases.selectors.cases import CaseDetail

__all__ = ["SAVED", "Sheet"]

SAVED, REFUSED, STALE, CLOSED = "saved", "refused", "stale", "closed"
_STATUS = {SAVED: 200, REFUSED: 422, STALE: 409, CLOSED: 409}


class Sheet:
    """One draft as it stands on the page.

    ``state``: empty (only shown), saved, refused (something cannot be used), stale
    (a colleague saved meanwhile) or closed (it was sent meanwhile).
    """

    def __init__(
        self,
        detail: "CaseDetail",
        actor: Actor,
        flat: Mapping[str, str] | None = None,
        *,
        instruments: Instruments | None = None,
    ) -> None:
        self.detail, self.actor = detail, actor
        self.instruments = (
            instrument_choices(actor=actor) if instruments is None else instruments
        )
        self.fixed = detail.case.state != CaseState.DRAFT
        self.kept = kept_readings(detail)
        self.rule_set = rule_set_for(detail.case.rule_set_digest)
        self.state = ""
        self.saved_at: datetime | None = None
        self.differs: list[Difference] = []
        self._read(dict(flat) if flat is not None else draft_flat(detail))

    def _read(self, flat: dict[str, str]) -> None:
        self.flat = flat
        self.form = DraftForm(
            flat, prescribers=prescribers(self.actor), fixed=self.fixed
        )
        self.editor = editor_of(
            flat,
            rule_set=self.rule_set,
            actor=self.actor,
            instruments=self.instruments,
        )
        show_earlier(self.editor, self.kept)

    def save(self, at: datetime, *, over: bool = False) -> bool:
        """Save what was typed; what cannot be used goes to its field.

        ``over``: the person saw what a colleague changed and keeps their own.
        """
        if over:
            self._read({**self.flat, "version": str(self.detail.case.version)})
        units, connectors = self.editor.json(), self.editor.connectors_json()
        # Both look at everything, so that all messages come at once.
        usable = [self.form.is_valid(), self.editor.is_valid()]
        if not all(usable):
            self._judge_rest(units, connectors)
            self.state = REFUSED
            return False
        try:
            case = drafts.draft_save(
                actor=self.actor,
                code=self.detail.case.code,
                version=self.form.cleaned_data["version"],
                draft=draft_input(self.form.cleaned_data, units, connectors),
                at=at,
            )
        except Invalid as error:
            self._place(error)
            self.state = REFUSED
        except StaleVersion:
            self.state = self._compare(units)
        except IllegalTransition:
            self.state = CLOSED
        else:
            self.state, self.saved_at = SAVED, at
            self._read({**self.flat, "version": str(case.version)})
        return self.state == SAVED

    def _judge_rest(
        self, units: list[dict[str, Any]], connectors: list[dict[str, Any]]
    ) -> None:
        try:
            if units:
                judged(
                    units,
                    rule_set=self.rule_set,
                    system=self.actor.tooth_system,
                    actor=self.actor,
                    connectors=connectors,
                )
        except Invalid as error:
            self._place(error)

    def _place(self, error: Invalid) -> None:
        mine: list[InvalidField] = []
        for fault in error.fields:
            name = fault.pointer.strip("/").replace("/", "-")
            if name in self.form.fields:
                text = people_text(fault, system=self.actor.tooth_system)
                self.form.add_error(name, text)
            else:
                mine.append(fault)
        self.editor.add(Invalid(*mine))

    def _compare(self, units: list[dict[str, Any]]) -> str:
        """Find what differs from the stored draft, if it still is one."""
        now = case_detail(actor=self.actor, code=self.detail.case.code)
        if Command.EDIT_DRAFT not in commands_for(CaseState(now.case.state)):
            return CLOSED
        stored = Sheet(now, self.actor, instruments=self.instruments)
        self.detail = now
        self.differs = differences(
            stored=(stored.flat, stored.editor.json()),
            typed=(self.flat, units),
            system=self.actor.tooth_system,
        )
        return STALE

    @property
    def status(self) -> int:
        """The status the page answers with."""
        return _STATUS.get(self.state, 200)

    @property
    def problems(self) -> list[dict[str, str]]:
        """Every message with a link to its field, in the order of the page."""
        head = [
            {"href": f"#{bound.auto_id}", "text": f"{bound.label}: {error}"}
            for bound in self.form
            for error in bound.errors
        ]
        return [*head, *self.editor.problems]

    def verdict(self) -> LiveVerdict | None:
        """Return what the check says, once everything typed can be used."""
        if self.problems:
            return None
        typed = self.editor.json()
        try:
            if typed:
                # What stays in force keeps the figures it was taken with.
                fresh = with_figures(typed, actor=self.actor, rule_set=self.rule_set)
                return judged(
                    with_kept(fresh, self.kept),
                    rule_set=self.rule_set,
                    system=self.actor.tooth_system,
                    connectors=self.editor.connectors_json(),
                )
        except Invalid as error:
            self._place(error)
        return None
