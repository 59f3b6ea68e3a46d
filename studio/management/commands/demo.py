"""`manage.py demo`: an invented studio, and the main job walked through on it."""

import secrets
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.checks import Tags
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone
from rich.progress import track

from inventory.queries.receiving.deliveries import find_delivery
from inventory.queries.stock.positions import stock_positions
from studio.checks import MACHINE
from studio.foundation.doers import acting
from studio.foundation.roles import Role
from studio.management.demo.alerts import (
    background,
    low_materials,
    show_alerts,
    show_closed,
)
from studio.management.demo.buying import bought_before, buy_what_runs_low
from studio.management.demo.history import steps
from studio.management.demo.price_rise import receive_rise
from studio.management.demo.pricing import ask_what_if, load_selling, show_products
from studio.management.demo.production import make_for_real
from studio.management.demo.quoting import accept_and_plan, quote_bars, ship_and_count
from studio.management.demo.recall import recall_and_print
from studio.management.demo.shelf import load_recipes, load_shelf
from studio.management.demo.tables import Printer
from studio.management.demo.walk import prove, walk
from studio.models import Membership
from studio.work.serving import Service

OWNER = "demo"
PASSWORD_FILE = "demo-password"
FIRST_INVOICE = {"supplier": "northfold", "invoice": "N-4107"}


class Command(BaseCommand):
    help = "Load an invented studio, walk the main job on it, then serve it (--no-serve ends)."
    requires_system_checks = [MACHINE, Tags.models]

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="end after the walk")
        parser.add_argument("--host", default="127.0.0.1", help="address to serve on")
        parser.add_argument("--port", type=int, default=8000, help="port to serve on")

    def handle(self, *_: Any, **options: Any) -> None:
        today = timezone.localdate()
        printer = Printer()
        printer.say("Making the tables.")
        call_command("migrate", interactive=False, verbosity=0)
        printer.say("An invented studio: its suppliers, prices, lots and recipes are made up.")
        is_new = self._is_new()
        password = self._owner()
        with acting(self._account):
            answered = self._show(printer, today, is_new=is_new)
        printer.step("Use it yourself")
        printer.say(
            f"Sign in as '{OWNER}'; the password is in {password}. "
            "README.md shows the whole job with curl."
        )
        if not answered and options["no_serve"]:
            raise CommandError("The background job did not answer; everything else was done.")
        if not options["no_serve"]:
            call_command("serve", host=options["host"], port=options["port"], no_migrate=True)

    def _show(self, printer: Printer, today: date, *, is_new: bool) -> bool:
        """Load the studio and walk through it; false where a worker did not answer."""
        if is_new:
            self._load(printer)
        else:
            printer.say("It is loaded already; nothing is loaded twice.")
        walk(printer, today=today)
        make_for_real(printer, today)
        recall_and_print(printer, today)
        with background() as service:
            answered = show_alerts(printer, service)
            if answered and low_materials() and not bought_before():
                buy_what_runs_low(printer, today)
                answered = show_closed(printer, service)
            answered = self._sell(printer, service, today) and answered
        printer.step("Prove the books", "Every balance is the sum of its entries.")
        prove(printer)
        return answered

    def _sell(self, printer: Printer, service: Service, today: date) -> bool:
        """Price, watch, quote, order and ship; false where a worker did not answer."""
        if not show_products(printer, today):
            return True
        ask_what_if(printer, today)
        answered = receive_rise(printer, service, today)
        answered = quote_bars(printer, service, today) and answered
        answered = accept_and_plan(printer, service) and answered
        ship_and_count(printer)
        return answered

    def _is_new(self) -> bool:
        """Whether the scenario is still to be loaded; refuses somebody's own studio."""
        if find_delivery(**FIRST_INVOICE) is not None:
            return False
        if stock_positions(on=timezone.localdate()):
            raise CommandError(
                "This database already holds a studio. Give the demonstration a folder of its own: "
                "STUDIO_VAR=var/demo manage.py demo"
            )
        return True

    def _load(self, printer: Printer) -> None:
        printer.say("Loading what happened so far: suppliers, recipes, deliveries, batches, sales.")
        with transaction.atomic():
            load_shelf()
            load_recipes()
            everything = list(steps(timezone.localdate()))
            for step in track(everything, description="Deliveries and batches"):
                step()
            load_selling(timezone.localdate())

    def _account(self) -> Any:
        return get_user_model()._default_manager.get(username=OWNER)

    def _owner(self) -> Path:
        """The demonstration's owner, with a password made now and kept beside the database."""
        file: Path = settings.VAR_DIR / PASSWORD_FILE
        accounts = get_user_model()._default_manager
        if not accounts.filter(username=OWNER).exists():
            password = secrets.token_urlsafe(12)
            file.touch(mode=0o600)
            file.write_text(password + "\n", encoding="utf-8")
            owner = get_user_model()(username=OWNER, email="owner@studio.example")
            owner.set_password(password)
            owner.save()
            Membership.objects.create(user=owner, role=Role.OWNER, may_see_costs=True)
        return file
