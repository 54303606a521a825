"""`manage.py create_person`: make somebody a member of a farm, print the person's id."""

from __future__ import annotations

import getpass
import os
import sys
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandError, CommandParser
from django.core.validators import validate_email
from django.utils import timezone

from orchard.farms import services
from orchard.farms.actors import SYSTEM, Role
from orchard.farms.commands import FarmCommand, farm_of
from orchard.farms.models import Person


class Command(FarmCommand):
    help = 'Make a person a member of a farm and print {"id": …}. Asks for the password, or takes PASSWORD.'

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--farm", required=True, help="id of the farm")
        parser.add_argument("--email", required=True)
        parser.add_argument("--name", default="")
        parser.add_argument("--role", required=True, choices=[r.value for r in Role if r != Role.INTEGRATION])
        parser.add_argument("--language", default="en", choices=["en", "es"])

    def do(self, **options: Any) -> dict[str, Any]:
        farm, email = farm_of(options["farm"]), options["email"].strip()
        try:
            validate_email(email)
        except ValidationError:
            raise CommandError(f"{email} is not an e-mail address") from None
        known = Person.objects.filter(email=email.lower()).exists()
        member = services.add_member(
            farm=farm,
            email=email,
            name=options["name"] or email.partition("@")[0],
            role=options["role"],
            language=options["language"],
            password=None if known else self.password(),
            by=SYSTEM,
            now=timezone.now(),
        )
        return {"id": str(member.person.id)}

    def password(self) -> str:
        """Return a password that is good enough.

        :raises CommandError: with what is wrong with it
        """
        chosen = os.environ.get("PASSWORD")
        if chosen is None:
            if not sys.stdin.isatty():
                raise CommandError("give the password in the environment variable PASSWORD")
            chosen = getpass.getpass("Password: ")
            if getpass.getpass("Again: ") != chosen:
                raise CommandError("the two passwords differ")
        try:
            validate_password(chosen)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        return chosen
