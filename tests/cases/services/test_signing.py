"""Signing asks again, binds to the content, and works once."""

from datetime import timedelta

import pytest
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    generate_totp_secret,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.core.cache import cache

from cases.canonical import canonical_json, sha256_hex
from cases.errors import (
    ContentChanged,
    NotAllowed,
    ReauthenticationRequired,
    StaleVersion,
    TooMany,
)
from cases.models import Case, Delegation, OutboxRow, Signature, SigningGrant, User
from cases.services import signing, submission
from cases.services.signing import SignatureInput
from cases.tenancy import acting
from tests.play import AT, PASSWORD, Play, signature_over, unit


@pytest.fixture(autouse=True)
def _no_earlier_tries():
    cache.clear()


def _digest(case: Case) -> str:
    return sha256_hex(canonical_json(submission.submission_content(case)))


def _grant(play: Play, case: Case, **changes) -> str:
    values = {
        "purpose": "prescription",
        "target": case.code,
        "content_sha256": _digest(case),
        "password": PASSWORD,
        "totp": "",
        "at": AT,
    }
    return signing.grant_issue(actor=play.world.dentist, **{**values, **changes})


def _submit(play: Play, case: Case, signature: SignatureInput, *, at=AT, who=None):
    return submission.case_submit(
        actor=who or play.world.dentist,
        code=case.code,
        version=None,
        signature=signature,
        at=at,
    )


def test_a_grant_signs_once(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist):
        grant = _grant(play, case)
        _submit(play, case, SignatureInput(meaning="I authorise this.", grant=grant))
        signed = Signature.objects.get(case=case)
        assert (signed.method, signed.printed_name) == ("password", "Dentist")
        assert signed.content_sha256 == sha256_hex(canonical_json(signed.content))
        assert grant not in SigningGrant.objects.get().token_hash
        with pytest.raises(ReauthenticationRequired):
            signing.sign(
                actor=play.world.dentist,
                case=case,
                purpose="prescription",
                target=case.code,
                content={},
                signature=SignatureInput(meaning="", grant=grant),
                at=AT,
            )


@pytest.mark.parametrize(
    ("changes", "later"),
    [
        ({"purpose": "answer"}, 0),
        ({"target": "0000000000"}, 0),
        ({}, 301),
    ],
)
def test_a_grant_for_something_else_or_too_old_signs_nothing(play, changes, later):
    case = play.draft(unit())
    with acting(play.world.dentist):
        grant = _grant(play, case, **changes)
        with pytest.raises(ReauthenticationRequired):
            _submit(
                play,
                case,
                SignatureInput(meaning="", grant=grant),
                at=AT + timedelta(seconds=later),
            )
        assert Case.objects.get(pk=case.pk).state == "draft"


def test_another_digest_is_a_conflict_that_names_the_right_one(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist):
        grant = _grant(play, case, content_sha256="0" * 64)
        with pytest.raises(ContentChanged) as refused:
            _submit(play, case, SignatureInput(meaning="", grant=grant))
        assert refused.value.content_sha256 == _digest(case)


def test_a_fresh_code_of_the_second_factor_signs(play: Play):
    case = play.draft(unit())
    secret = generate_totp_secret()
    TOTP.activate(User.objects.get(pk=play.world.dentist.user_id), secret)
    code = format_hotp_value(
        hotp_value(secret, next(iter(yield_hotp_counters_from_time())))
    )
    with acting(play.world.dentist):
        grant = _grant(play, case, password="", totp=code)
        assert SigningGrant.objects.get().method == "totp"
        with pytest.raises(ReauthenticationRequired):
            _grant(play, case, password="", totp=code)
        _submit(play, case, SignatureInput(meaning="", grant=grant))


def test_wrong_passwords_run_out(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist):
        for _ in range(10):
            with pytest.raises(ReauthenticationRequired):
                _grant(play, case, password="wrong")
        with pytest.raises(TooMany):
            _grant(play, case)


def test_nothing_signs_without_credential(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist), pytest.raises(ReauthenticationRequired):
        _submit(play, case, SignatureInput(meaning="", content_sha256=_digest(case)))


def test_an_assistant_never_signs(play: Play):
    case = play.draft(unit())
    with acting(play.world.assistant), pytest.raises(NotAllowed):
        _submit(
            play,
            case,
            signature_over(submission.submission_content(case)),
            who=play.world.assistant,
        )


def test_a_colleague_signs_only_by_written_delegation_and_for(play: Play):
    case = play.draft(unit())
    colleague = play.world.colleague
    with acting(colleague):
        signature = signature_over(submission.submission_content(case))
        with pytest.raises(NotAllowed):
            _submit(play, case, signature, who=colleague)
        Delegation.objects.create(
            organisation_id=colleague.organisation_id,
            prescriber_id=play.world.dentist.user_id,
            delegate_id=colleague.user_id,
            starts_on=AT.date(),
            ends_on=AT.date(),
            note="Holiday.",
            created_at=AT,
        )
        _submit(play, case, signature, who=colleague)
        signed = Signature.objects.get(case=case)
        assert (signed.printed_name, signed.signed_for) == ("Colleague", "Dentist")
        told = OutboxRow.objects.get(kind="signed_for")
        assert told.payload == {"user": play.world.dentist.user_id}


def test_a_stale_version_changes_nothing(play: Play):
    case = play.draft(unit())
    with acting(play.world.dentist), pytest.raises(StaleVersion) as refused:
        submission.case_submit(
            actor=play.world.dentist,
            code=case.code,
            version=case.version + 1,
            signature=signature_over(submission.submission_content(case)),
            at=AT,
        )
    assert refused.value.current == case.version
