"""The rows of a chunk as COPY text, table by table, and where their numbers come from."""

from collections.abc import Iterator
from typing import Final

from numpy.random import Generator

__all__ = ["COLUMNS", "NUMBERED", "Sheets"]

# In the order in which they are copied; a row may name one copied later, because the
# database looks at references when everything is there.
COLUMNS: Final[dict[str, str]] = {
    "cases_case": "id code clinic_id laboratory_id prescriber_id created_by_id state"
    " version round revision rule_set_digest current_check_id verdict held_from"
    " hold_targets records_due missing review_on pan_number contents_received wanted_on"
    " promised_on appointment_at charged_work remake_of_id created_at submitted_at"
    " received_at moved_at",
    "cases_caseparty": "case_id organisation_id scope",
    "cases_patientidentity": "case_id reference initials age_band salt",
    "cases_round": "case_id number cause mounting_number carries_mouth_readings began_at",
    "cases_signature": "id case_id membership_id user_id printed_name role signed_for"
    " purpose meaning method content content_sha256 signed_at",
    "cases_prescription": "id case_id revision shade notes occlusal_scheme disinfection"
    " jaw_record connectors wanted_on appointment_at content content_sha256"
    " signature_id submitted_at",
    "cases_unit": "prescription_id case_id position tooth kind material"
    " occlusal_surface cementation span relation antagonist antagonists planned_plane"
    " not_applicable wall_heights_mm base_width_mm convergence_deg dentine_mm retention"
    " abutment shade finish_line submitted_at",
    "cases_reading": "case_id round tooth site position method passes_mm drags_mm"
    " held_mm value_mm u_mm basis mounting_number side taken_by_id taken_by_name"
    " taken_at submitted_at superseded_at note instrument_id instrument_label delta_mm"
    " u_origin stale_at",
    "cases_check": "id case_id revision round rule_set_digest request result"
    " request_sha256 verdict made_at",
    "cases_siteverdict": "id case_id stored_check_id tooth site quantity verdict need_mm"
    " low_mm high_mm is_point at_or_above_need",
    "cases_flag": "id code case_id status origin reasons text sites options revision"
    " round rule_set_digest verified raised_by_id raised_by_name raised_at signature_id"
    " settled_at withdrawn_reason",
    "cases_answer": "id code case_id flag_id kind parameters grounds consent"
    " signature_id answered_at countersignature_id declined_reason declined_by_name"
    " declined_at",
    "cases_coverage": "id code case_id kind tooth site quantity revision round"
    " rule_set_digest low_mm high_mm answer_id given_by_id given_by_name given_at",
    "cases_workorder": "code case_id laboratory_id number revision round based_on_id"
    " prescription_signature_id content content_sha256 status released_by_id"
    " released_at superseded_at storage_key pdf_sha256 rendered_at",
    "cases_fitreport": "case_id outcome findings opposing_adjusted_mm opposing_teeth"
    " minutes coping_used note reported_by_id reported_by_name reported_at",
    "cases_remake": "id case_id new_case_id internal teeth cause detected_at"
    " attribution_clinic attribution_laboratory note recorded_by_id recorded_by_name"
    " recorded_at",
    "cases_remakestatement": "remake_id side attribution note made_by_id made_by_name"
    " made_at",
    "cases_remaketrace": "remake_id site_verdict_id answer_id coverage_id automatic"
    " made_by_id made_by_name made_at withdrawn_by_id withdrawn_by_name"
    " withdrawn_reason withdrawn_at",
    "cases_timelineentry": "id case_id position event at actor_membership_id actor_side"
    " state_before state_after internal content_commitment canonical prev_hash"
    " entry_hash",
    "cases_timelinecontent": "case_id entry_id salt content",
    "cases_timelinehead": "case_id position entry_hash",
}
# Tables whose rows are named by others get their numbers here, not from the sequence.
NUMBERED: Final = tuple(
    table for table, columns in COLUMNS.items() if columns.startswith("id ")
)
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_BLOCK = 8192


class Sheets:
    """Collects lines until they are copied; hands out numbers, codes and salts."""

    def __init__(self, rng: Generator, last: dict[str, int]) -> None:
        self._rng = rng
        self._last = last
        self.lines: dict[str, list[str]] = {table: [] for table in COLUMNS}
        self._codes = self._drawn_codes()
        self._salts = self._drawn_salts()

    def number(self, table: str) -> int:
        """Return the next number of a table."""
        self._last[table] = found = self._last[table] + 1
        return found

    @property
    def last(self) -> dict[str, int]:
        """The numbers given out last."""
        return self._last

    def code(self) -> str:
        """Return a public code of the usual shape, drawn from the seed."""
        return next(self._codes)

    def salt(self) -> str:
        """Return 128 bits in hex, drawn from the seed."""
        return next(self._salts)

    def add(self, table: str, line: str) -> None:
        """Add a row as COPY text without its end of line."""
        self.lines[table].append(line)

    def taken(self) -> dict[str, bytes]:
        """Return what has been collected, by table in order of copying; begin anew."""
        found = {
            table: ("\n".join(lines) + "\n").encode()
            for table, lines in self.lines.items()
            if lines
        }
        for lines in self.lines.values():
            lines.clear()
        return found

    def _drawn_codes(self) -> Iterator[str]:
        while True:
            drawn = self._rng.integers(0, 32, size=(_BLOCK * 10), dtype="uint8")
            text = drawn.tobytes().translate(_TRANSLATION).decode()
            yield from (text[i : i + 10] for i in range(0, len(text), 10))

    def _drawn_salts(self) -> Iterator[str]:
        while True:
            text = self._rng.bytes(_BLOCK * 16).hex()
            yield from (text[i : i + 32] for i in range(0, len(text), 32))


_TRANSLATION = bytes(_ALPHABET.encode()) + bytes(224)
