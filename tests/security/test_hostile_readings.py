"""Readings a program sends that no page would: kept usable, or refused at once."""

from cases.models import Reading
from cases.tenancy import acting
from tests.play import Play, reading, unit


def test_a_mounting_number_alone_means_the_models(play: Play):
    """Stored as taken in the mouth, the draft could be neither checked nor sent."""
    rows = [
        reading("buccal_cusps", passes_mm="2.0"),
        reading("lingual_cusps", passes_mm="1.5", mounting_number=2),
        reading("central_fossa", passes_mm="1.5"),
    ]
    case = play.draft(unit(readings=rows))
    with acting(play.world.dentist):
        stored = Reading.objects.get(case=case, site="lingual_cusps")
    assert (stored.basis, stored.mounting_number) == ("model", 2)
    assert play.submit(case).verdict == "sufficient"
