#!/usr/bin/env python3
"""The one command of the service: `python manage.py help` lists what it can do."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
