"""Make an account with a role; the first one is an owner."""

import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from studio.foundation.roles import Role
from studio.web.accounts import AccountRefused, add_account


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
        name = options["username"]
        try:
            add_account(
                name=name,
                password=self._password(options["password_from"]),
                role=Role(options["role"]),
                may_see_costs=options["see_costs"],
                email=options["email"],
            )
        except AccountRefused as refusal:
            raise CommandError(" ".join(fault.message for fault in refusal.faults)) from refusal
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
