"""matplotlib leaves nothing behind, reads no settings and asks for nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
DRAW = """
import hashlib, logging, os, sys, tempfile
logging.basicConfig(level=logging.INFO)
import tests  # keeps numpy to one thread, by the environment
before = dict(os.environ)
from tests.cases.charts.samples import DRAWN, PLAIN, WORDS
assert dict(os.environ) == before
assert not any("pyplot" in name for name in sys.modules)
made = "".join(
    draw(PLAIN[name], words=WORDS, uid="q", narrow=narrow)
    for name, (draw, _) in DRAWN.items() for narrow in (False, True)
)
print(hashlib.sha256(made.encode()).hexdigest())
"""


def drawn_by(home: Path, temp: Path, seed: str, **more: str):
    env = {
        "HOME": str(home), "TMPDIR": str(temp), "PATH": os.environ["PATH"],
        "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed, "PYTHONWARNINGS": "error",
        **more,
    }  # fmt: skip
    return subprocess.run(
        [sys.executable, "-c", DRAW], env=env, cwd=ROOT, capture_output=True, text=True
    )


@pytest.fixture(scope="module")
def places(tmp_path_factory):
    home, temp = tmp_path_factory.mktemp("home"), tmp_path_factory.mktemp("temp")
    return home, temp


def test_drawing_writes_and_says_nothing(places):
    home, temp = places
    first = drawn_by(home, temp, "1")
    assert first.returncode == 0, first.stderr
    assert first.stderr in (
        "",
        "INFO:matplotlib.font_manager:generated new fontManager\n",
    )
    assert [*home.rglob("*"), *temp.rglob("*")] == []


def test_no_home_and_other_settings_change_no_byte(places, tmp_path):
    home, temp = places
    wanted = drawn_by(home, temp, "2").stdout
    assert len(wanted.strip()) == 64
    settings = tmp_path / "matplotlibrc"
    settings.write_text("lines.linewidth: 9\naxes.facecolor: red\n")
    missing = tmp_path / "file" / "home"
    (tmp_path / "file").write_text("no folder can be made here")
    other = drawn_by(missing, temp, "3", MPLCONFIGDIR=str(tmp_path))
    assert other.returncode == 0, other.stderr
    assert other.stdout == wanted
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file", "matplotlibrc"]
