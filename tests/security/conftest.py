"""The people, the case and the programs of the attacks."""

from tests.cases.api.conftest import api
from tests.cases.conftest import play, world

__all__ = ["api", "play", "world"]
