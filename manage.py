#!/usr/bin/env python3
"""Django's usual entry; on a bare machine it first makes its own environment."""

import importlib
import os
import sys

from portal import bootstrap

# These start services or processes of their own and read no database, so they run
# before there is any (portal/launcher_settings.py).
LAUNCHERS = {"demo", "walkthrough", "test", "provision_database", "make_secrets"}


def main() -> None:
    """Run one management command."""
    arguments = sys.argv[1:]
    bootstrap.enter(arguments)
    if arguments and arguments[0] in LAUNCHERS:
        os.environ["DJANGO_SETTINGS_MODULE"] = "portal.launcher_settings"
    else:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    # Django is importable only from here on, hence no import statement at the top.
    management = importlib.import_module("django.core.management")
    bad_setting = importlib.import_module("portal.env").BadSetting
    try:
        management.execute_from_command_line(sys.argv)
    except bad_setting as problem:
        sys.exit(f"chairbench: {problem}")


if __name__ == "__main__":
    main()
