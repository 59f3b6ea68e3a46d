"""Print a new API token of an account."""

from datetime import timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError, CommandParser
from knox.models import AuthToken

LONGEST_DAYS = 3650


class Command(BaseCommand):
    help = "Print a new API token of an account; it is shown this once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--days", type=int, default=30, help="How long it is good (30).")

    def handle(self, *args: Any, **options: Any) -> None:
        if not 1 <= options["days"] <= LONGEST_DAYS:
            raise CommandError(f"Give 1 to {LONGEST_DAYS} days.")
        accounts = get_user_model()._default_manager
        account = accounts.filter(username=options["username"], is_active=True).first()
        if account is None:
            raise CommandError(f"There is no active account '{options['username']}'.")
        _, token = AuthToken.objects.create(user=account, expiry=timedelta(days=options["days"]))
        self.stdout.write(token)
