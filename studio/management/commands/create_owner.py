"""Make an account with a role; the first one is an owner."""

import getpass
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from studio.models import Membership
from studio.roles import Role


class Command(BaseCommand):
    help = "Make an account with a role (owner, unless --role says otherwise)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--role", choices=Role.values, default=Role.OWNER.value)
        parser.add_argument("--see-costs", action="store_true", help="May see and set costs.")
        parser.add_argument("--email", default="")
        parser.add_argument(
            "--password-from",
            metavar="FILE",
            help="Read the password from a file (- for standard input); asked for otherwise.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        accounts = get_user_model()._default_manager
        name = options["username"]
        if accounts.filter(username=name).exists():
            raise CommandError(f"There is an account '{name}' already.")
        password = self._password(options["password_from"])
        owner = options["role"] == Role.OWNER
        account = get_user_model()(
            username=name, email=options["email"], is_staff=owner, is_superuser=owner
        )
        try:
            account.clean_fields(exclude=["password"])
            validate_password(password, account)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        account.set_password(password)
        with transaction.atomic():
            account.save()
            Membership.objects.create(
                user=account, role=options["role"], may_see_costs=options["see_costs"]
            )
        self.stdout.write(f"{name} is {Role(options['role']).label.lower()} of this studio.")

    def _password(self, source: str | None) -> str:
        if source == "-":
            return input().rstrip("\n")
        if source:
            try:
                with open(source, encoding="utf-8") as file:  # noqa: PTH123
                    return file.readline().rstrip("\n")
            except OSError as error:
                raise CommandError(f"The password cannot be read: {error}.") from error
        first = getpass.getpass("Password: ")
        if first != getpass.getpass("Again: "):
            raise CommandError("The two passwords differ.")
        return first
