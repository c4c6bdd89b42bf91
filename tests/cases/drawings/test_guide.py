import re
from pathlib import Path

from cases.drawings.clearance_chart import chart_rows
from cases.drawings.contrast import PAIRS
from cases.drawings.guide import guide_context
from cases.drawings.samples import LOWER_MOLAR

ROOT = Path(__file__).parents[3]
SHEET = (ROOT / "cases" / "static" / "cases" / "app.css").read_text()


def test_guide_shows_each_pair_and_each_drawing_once():
    context = guide_context(SHEET, str)
    assert len(context["contrasts"]) == len(PAIRS)
    assert context["figures"][0]["rows"] == chart_rows(LOWER_MOLAR)
    drawings = [context["teeth"]["wide"], *context["teeth"]["quadrants"]]
    for figure in context["figures"]:
        drawings += [figure["wide"], figure["stacked"]]
    ids = re.findall(r'\sid="([^"]+)"', "".join(drawings))
    assert len(ids) == len(set(ids)) == 2 * len(drawings)


def test_guide_names_every_icon_of_the_sprite():
    sprite = (ROOT / "templates" / "parts" / "_sprite.html").read_text()
    icons = set(re.findall(r'<symbol id="i-([a-z]+)"', sprite))
    assert icons == set(guide_context(SHEET, str)["icons"])
