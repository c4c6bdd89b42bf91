"""The laboratory's own causes, and what a remake costs each side."""

from decimal import Decimal

import pytest

from cases.enums import Role
from cases.errors import Conflict, NotAllowed, NotFound
from cases.models import AuditSettings, RemakeCause, RemakeLoss
from cases.services import remakes
from cases.services.remake_causes import cause_add, cause_retire
from cases.services.remake_parts import LossInput, RemakeDetails
from cases.tenancy import Actor, acting
from tests.cases.services.remade import delivered, do, manager_of, opened, pointers
from tests.permissions.states import in_fabrication
from tests.play import Play


@pytest.fixture
def chief(play: Play) -> Actor:
    return manager_of(play.world.technician, Role.LAB_MANAGER, "Chief")


def added(play: Play, who: Actor, label: str) -> RemakeCause:
    with acting(who):
        return cause_add(actor=who, label=label, at=play.tick())


def test_a_clinic_chooses_a_cause_of_its_laboratory(play: Play, chief: Actor):
    own = added(play, chief, "  Wrong   alloy ")
    case = delivered(play, in_fabrication(play))
    assert own.label == "Wrong alloy"
    assert opened(play, case, own.code).cause == own.code


def test_a_retired_cause_is_chosen_no_more_but_stays(play: Play, chief: Actor):
    own = added(play, chief, "Wrong alloy")
    case = delivered(play, in_fabrication(play))
    remake = opened(play, case, own.code)
    do(play, cause_retire, chief, own.code)
    with pytest.raises(Conflict):
        do(play, cause_retire, chief, own.code)
    assert pointers(lambda: opened(play, case, own.code)) == ["/cause"]
    with acting(play.world.dentist):
        remake.refresh_from_db()
        assert remake.cause == own.code
    again = added(play, chief, "Wrong alloy")
    assert again.code != own.code


def test_the_cause_of_another_laboratory_is_refused(play: Play):
    foreign = manager_of(play.world.other_laboratory, Role.LAB_MANAGER, "Other")
    theirs = added(play, foreign, "Wrong alloy")
    case = delivered(play, in_fabrication(play))
    assert pointers(lambda: opened(play, case, theirs.code)) == ["/cause"]
    with acting(play.world.dentist):
        assert not RemakeCause.objects.exists()


@pytest.mark.parametrize(
    "label",
    ["", " \t", "x" * 61, "Wrong ‮alloy", "wrong  ALLOY", "Fracture OR chipping"],
)
def test_a_label_that_cannot_be_is_refused(play: Play, chief: Actor, label: str):
    added(play, chief, "Wrong alloy")
    assert pointers(lambda: added(play, chief, label)) == ["/label"]


def test_the_list_is_the_managers(play: Play, chief: Actor):
    own = added(play, chief, "Wrong alloy")
    clinic = manager_of(play.world.dentist, Role.CLINIC_MANAGER, "Office")
    for who in (play.world.technician, play.world.dentist, clinic):
        with pytest.raises(NotAllowed):
            added(play, who, "Late")
        with pytest.raises(NotAllowed):
            do(play, cause_retire, who, own.code)
    foreign = manager_of(play.world.other_laboratory, Role.LAB_MANAGER, "Other")
    with pytest.raises(NotFound):
        do(play, cause_retire, foreign, own.code)


def losses(who: Actor) -> list[tuple]:
    with acting(who):
        rows = RemakeLoss.objects.order_by("id")
        return [(r.amount, r.currency, r.minutes, r.days_lost) for r in rows]


def test_a_loss_is_seen_by_its_own_side_only(play: Play, chief: Actor):
    case = delivered(play, in_fabrication(play))
    loss = LossInput(Decimal("120.50"), 45, 7)
    remake = opened(play, case, details=RemakeDetails(loss=loss))
    with acting(chief):
        AuditSettings.objects.create(
            organisation_id=chief.organisation_id,
            currency="CHF",
            changed_at=play.tick(),
        )
    lab = play.world.technician
    value = LossInput(amount=Decimal("80"))
    service = remakes.remake_loss_set
    do(play, service, lab, case.code, remake=remake.pk, loss=value)
    assert losses(play.world.dentist) == [(Decimal("120.50"), "EUR", 45, 7)]
    assert losses(lab) == [(Decimal("80.00"), "CHF", None, None)]


@pytest.mark.parametrize(
    ("loss", "where"),
    [
        (LossInput(), ["/amount"]),
        (LossInput(Decimal("-0.01")), ["/amount"]),
        (LossInput(Decimal("0.001")), ["/amount"]),
        (LossInput(Decimal("100000000")), ["/amount"]),
        (LossInput(Decimal("NaN")), ["/amount"]),
        (LossInput(minutes=-1, days_lost=-2), ["/minutes", "/days_lost"]),
    ],
)
def test_a_loss_that_cannot_be_is_refused(play: Play, loss: LossInput, where):
    case = delivered(play, in_fabrication(play))
    remake = opened(play, case)
    assert (
        pointers(
            lambda: do(
                play,
                remakes.remake_loss_set,
                play.world.dentist,
                case.code,
                remake=remake.pk,
                loss=loss,
            )
        )
        == where
    )
