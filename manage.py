#!/usr/bin/env python3
"""The one command of the service: `python manage.py help` lists what it can do."""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db import OperationalError, ProgrammingError

NO_SUCH_TABLE = "42P01"


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "orchard.config.settings")
    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as fault:
        sys.exit(str(fault))
    except ProgrammingError as failure:
        if getattr(failure.__cause__, "sqlstate", None) != NO_SUCH_TABLE:
            raise
        sys.exit("The database has no tables yet, or older ones: run manage.py prepare_database first.")
    except OperationalError as failure:
        # Where the server answered, it is a fault of ours, and keeps its trace.
        if getattr(failure.__cause__, "sqlstate", None):
            raise
        sys.exit(f"The database cannot be reached. {' '.join(str(failure).split())}")


if __name__ == "__main__":
    main()
