"""Everybody by name, and a new story at each clinic."""

from dataclasses import dataclass

from cases.management.demo.cast import COMPANIES, LABORATORY
from cases.management.demo.people import Player
from cases.management.demo.stage import Story
from cases.models import Organisation
from cases.tenancy import acting

__all__ = ["Troupe", "troupe_of"]


@dataclass(frozen=True, slots=True)
class Troupe:
    """The laboratory and its people, with the clinics they work for."""

    laboratory: Organisation
    players: dict[str, Player]

    def _story(self, clinician: str, assistant: str) -> Story:
        return Story(
            laboratory=self.laboratory,
            clinician=self.players[clinician],
            assistant=self.players[assistant],
            technician=self.players["orrix"],
            responsible=self.players["sedda"],
        )

    def at_quillfern(self) -> Story:
        """Begin a case of the first clinic."""
        return self._story("velka", "pim")

    def at_mossgallop(self) -> Story:
        """Begin a case of the second clinic, which reads Universal numbers."""
        return self._story("ildo", "wen")

    def at_tanglewhisk(self) -> Story:
        """Begin a case of the third clinic."""
        return self._story("tarka", "ubbe")


def troupe_of(players: dict[str, Player]) -> Troupe:
    """Return the troupe of these people."""
    name = next(one.name for one in COMPANIES if one.key == LABORATORY)
    with acting(players["orrix"].actor):
        return Troupe(Organisation.objects.get(name=name), players)
