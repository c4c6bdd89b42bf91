"""The bootstrap, on machines that lack one thing or another."""

import ast
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from portal import bootstrap
from portal.machine import Machine, Problem, apt_install, this_machine

MODULES = ("__init__", "bootstrap", "machine")
EVERYTHING = frozenset({*bootstrap.PANGO, *bootstrap.ATOMIC})


class Recorder:
    """A machine that writes down what it is asked to run."""

    def __init__(self, *failing: str) -> None:
        self.ran: list[str] = []
        self.failing = failing

    def __call__(self, command: Sequence[str], extra: Mapping[str, str]) -> int:
        line = " ".join([*(f"{k}={v}" for k, v in extra.items()), *command])
        self.ran.append(line)
        return int(any(word in line for word in self.failing))


def machine(
    run,
    *,
    programs=("apt-get", "chromium"),
    libraries=EVERYTHING,
    is_root=True,
    version=(3, 11),
):
    def which(name):
        return f"/usr/bin/{name}" if name in programs else None

    return Machine(run, which, libraries.__contains__, is_root, version)


@pytest.fixture
def checkout(tmp_path):
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    (tmp_path / "uv.lock").write_text("version = 1\n")
    programs = tmp_path / ".venv" / "bin"
    programs.mkdir(parents=True)
    (programs / "python").touch()
    (programs / "uv").touch()
    return tmp_path


def test_the_lock_is_installed_and_byte_compiled(checkout):
    run = Recorder()

    bootstrap.make_environment(machine(run), checkout)

    uv = checkout / ".venv" / "bin" / "uv"
    assert run.ran[-1].startswith(
        f"UV_COMPILE_BYTECODE=1 {uv} sync --frozen --project {checkout}"
    )


def test_a_second_start_runs_nothing(checkout):
    bootstrap.make_environment(machine(Recorder()), checkout)
    run = Recorder()

    bootstrap.make_environment(machine(run), checkout)

    assert run.ran == []


def test_a_changed_lock_is_installed_again(checkout):
    bootstrap.make_environment(machine(Recorder()), checkout)
    (checkout / "uv.lock").write_text("version = 2\n")
    run = Recorder()

    bootstrap.make_environment(machine(run), checkout)

    assert any("sync --frozen" in line for line in run.ran)


def test_a_failed_install_is_tried_again_next_time(checkout):
    with pytest.raises(Problem, match="'uv sync' failed"):
        bootstrap.make_environment(machine(Recorder("sync")), checkout)

    assert not bootstrap.is_current(checkout)


def test_a_broken_venv_is_made_anew(checkout):
    run = Recorder("import pip")

    bootstrap.make_environment(machine(run), checkout)

    assert f"{sys.executable} -m venv --clear {checkout / '.venv'}" in run.ran


def test_a_failing_venv_module_names_the_package(checkout):
    with pytest.raises(Problem, match=r"apt-get install -y .* python3-venv"):
        bootstrap.make_environment(machine(Recorder("import pip", "venv")), checkout)


def test_uv_is_installed_into_the_venv_when_absent(checkout):
    (checkout / ".venv" / "bin" / "uv").unlink()
    run = Recorder()

    bootstrap.make_environment(machine(run), checkout)

    assert any("-m pip install --quiet" in line and "uv>=" in line for line in run.ran)


def test_an_old_python_is_named(checkout):
    with pytest.raises(Problem, match=r"3\.11 or newer is needed, this is 3\.9"):
        bootstrap.make_environment(machine(Recorder(), version=(3, 9)), checkout)


def test_a_complete_machine_installs_nothing():
    run = Recorder()

    bootstrap.provide_libraries(machine(run), ["test"])

    assert run.ran == []


def test_root_installs_what_the_tests_need():
    run = Recorder()

    bootstrap.provide_libraries(
        machine(run, programs=("apt-get",), libraries=frozenset()), ["test"]
    )

    installed = [line.split("Use-Pty=0 ")[1] for line in run.ran if "install" in line]
    assert installed == [
        "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0",
        "chromium libatomic1",
    ]


def test_another_user_is_told_the_line_to_type():
    with pytest.raises(Problem) as caught:
        bootstrap.provide_libraries(
            machine(Recorder(), programs=("apt-get",), is_root=False), ["test"]
        )

    assert str(caught.value) == (
        "Chromium, which the browser tests drive, is missing. On Debian and Ubuntu: "
        "sudo apt-get install -y --no-install-recommends chromium\n"
        "Or leave those tests out: python3 manage.py test -m 'not browser'"
    )


def test_tests_without_the_browser_need_no_browser():
    run = Recorder()

    bootstrap.provide_libraries(
        machine(run, programs=("apt-get",)), ["test", "-m", "not browser"]
    )

    assert run.ran == []


def test_the_demo_goes_on_without_pango(capsys):
    bootstrap.provide_libraries(
        machine(Recorder(), libraries=frozenset(), is_root=False), ["demo"]
    )

    assert (
        "going on without PDF documents. Pango, which draws the PDF documents, is "
        "missing. On Debian and Ubuntu: sudo apt-get install -y "
        "--no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
    ) in capsys.readouterr().out


def test_the_walkthrough_stops_without_pango():
    with pytest.raises(Problem, match="Pango"):
        bootstrap.provide_libraries(
            machine(Recorder(), libraries=frozenset(), is_root=False), ["walkthrough"]
        )


def test_other_commands_need_no_libraries():
    run = Recorder()

    bootstrap.provide_libraries(machine(run, libraries=frozenset()), ["migrate"])
    bootstrap.provide_libraries(machine(run, libraries=frozenset()), [])

    assert run.ran == []


def test_a_failed_apt_names_the_line_and_the_list_to_renew():
    with pytest.raises(Problem, match=r"Try: apt-get update && apt-get install -y"):
        apt_install(machine(Recorder("apt-get")), ["chromium"], "Chromium")


@pytest.mark.parametrize(
    "name", ["manage.py", "portal/bootstrap.py", "portal/machine.py"]
)
def test_it_needs_nothing_but_the_standard_library(name):
    """They are read before anything is installed, by Pythons back to 3.8."""
    tree = ast.parse((bootstrap.ROOT / name).read_text(), feature_version=(3, 8))
    imported = {
        alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    } | {
        str(node.module).split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }

    assert imported <= sys.stdlib_module_names | {"portal"}
    assert (bootstrap.ROOT / "portal" / "__init__.py").read_text() == ""


def test_a_damaged_checkout_is_said_without_a_traceback(tmp_path):
    """Really run, by a Python that sees no packages (-S), without a uv.lock."""
    (tmp_path / "portal").mkdir()
    for name in ("manage.py", *(f"portal/{n}.py" for n in MODULES)):
        shutil.copy(bootstrap.ROOT / name, tmp_path / name)
    environment = {"PATH": "/usr/bin:/bin", "HOME": str(tmp_path)}

    ran = subprocess.run(
        [sys.executable, "-S", "manage.py", "demo"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
    )

    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr
    assert ran.stderr.startswith("chairbench: [Errno 2]")
    assert "pyproject.toml" in ran.stderr


def test_this_machine_is_described_as_it_is():
    here = this_machine()

    assert here.version == sys.version_info[:2]
    assert here.has_library("libc.so.6")
    assert not here.has_library("libnothing-of-that-name.so.0")
    assert here.run([sys.executable, "-c", "raise SystemExit(3)"], {}) == 3
    assert bootstrap.in_own_environment(Path(sys.prefix).parent)
