"""What the tests of documents share."""

import pytest

from cases.documents import fonts


@pytest.fixture(autouse=True)
def fonts_read_afresh():
    """A test may hide the fonts; the next one reads them again."""
    yield
    fonts._characters.cache_clear()
    fonts.covered.cache_clear()
