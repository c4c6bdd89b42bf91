"""The people and the case every test of the domain plays with."""

import pytest

from tests.play import Play, World, build_world


@pytest.fixture
def world(db) -> World:
    """Two clinics, two laboratories, seven people."""
    return build_world()


@pytest.fixture
def play(world: World) -> Play:
    """A case that can be played forward by the real services."""
    return Play(world)
