"""The shelf as plain values: what the services must do, by the functions of the domain alone.

Each verb raises the refusal that the service must raise, before it changes anything.
"""

from dataclasses import dataclass, field
from datetime import date

from inventory.domain.stock.freshness import is_expired
from inventory.domain.stock.holds import Cause, state_of
from inventory.domain.stock.ledger import Balance, Change, Verb, after, counting, holds, taking
from inventory.domain.stock.lots import LotState, LotView
from inventory.domain.stock.picking import Choice, Shortage, pick, pick_all
from inventory.errors import LedgerRefusal, LotNotUsable, NotEnoughStock
from studio.foundation.errors import InvalidInput


@dataclass
class ModelLot:
    id: int
    code: str
    material: int
    received_on: date
    best_before: date | None
    causes: set[Cause]
    balance: Balance
    made: int = 0  # of a lot made here
    gone: int = 0  # used or sold since

    @property
    def state(self):
        return state_of(self.causes)

    def view(self, credit=0):
        return LotView(
            id=self.id,
            code=self.code,
            material=self.material,
            received_on=self.received_on,
            best_before=self.best_before,
            state=self.state,
            on_hand=self.balance.on_hand,
            reserved=self.balance.reserved - credit,
            cost=self.balance.cost,
        )


@dataclass
class ModelReservation:
    lines: dict[int, int]  # lot id -> what is still held, in the order of use
    expires_on: date | None


@dataclass
class Shelf:
    lots: dict[int, ModelLot] = field(default_factory=dict)
    open: dict[int, ModelReservation] = field(default_factory=dict)

    def balances(self):
        return {lot.id: lot.balance for lot in self.lots.values()}

    def lines(self):
        return {
            (key, lot_id): amount
            for key, reservation in self.open.items()
            for lot_id, amount in reservation.lines.items()
            if amount
        }

    def enter(self, changes):
        """Fold changes (lot id, change) into the lots; all or none."""
        balances = self.balances()
        for lot_id, change in changes:
            balances[lot_id] = after(balances[lot_id], change)
            if not holds(balances[lot_id]):
                raise LedgerRefusal("against the laws")
        for lot_id, balance in balances.items():
            self.lots[lot_id].balance = balance
        for lot_id, change in changes:
            if change.verb in (Verb.CONSUME, Verb.SHIP, Verb.RETURN):
                self.lots[lot_id].gone -= change.on_hand

    def picks(self, needs, chosen, today):
        """What a reservation must hold: (lot id, amount) in the order of use."""
        choices = {
            material: [Choice(self.lots[lot_id].view(), amount) for lot_id, amount in some]
            for material, some in chosen.items()
        }
        plan = pick_all(needs, [lot.view() for lot in self.lots.values()], on=today, chosen=choices)
        if not plan.is_covered:
            raise NotEnoughStock("short")
        return [(p.lot.id, p.amount) for picks in plan.picks.values() for p in picks]

    def reserve(self, key, picks, expires_on):
        self.enter([(lot, Change(Verb.RESERVE, reserved=amount)) for lot, amount in picks])
        self.open[key] = ModelReservation(dict(picks), expires_on)

    def release(self, key):
        held = self.open.pop(key).lines
        self.enter(
            [
                (lot, Change(Verb.RELEASE, reserved=-amount))
                for lot, amount in held.items()
                if amount
            ]
        )

    def expire(self, today):
        past = [k for k, r in self.open.items() if r.expires_on and r.expires_on < today]
        for key in past:
            self.release(key)
        return len(past)

    def consume(self, key, amounts, chosen, today):
        """Take what was used and give back the rest held of these materials."""
        for material, some in chosen.items():
            if sum(amount for _, amount in some) != amounts[material]:
                raise InvalidInput("the chosen amounts do not add up")
        reservation = self.open[key]
        held = {
            lot_id: amount
            for lot_id, amount in reservation.lines.items()
            if amount and self.lots[lot_id].material in amounts
        }
        takes, beyond = self._from_held(held, amounts, chosen)
        if any(self.lots[lot_id].state is not LotState.RELEASED for lot_id in takes):
            raise LotNotUsable("blocked since it was reserved")
        for lot_id, amount in self._beyond(beyond, amounts, chosen, held, today):
            takes[lot_id] = takes.get(lot_id, 0) + amount
        self._settle(takes, held)
        reservation.lines.update(dict.fromkeys(held, 0))
        if not any(reservation.lines.values()):
            del self.open[key]

    def _from_held(self, held, amounts, chosen):
        """What comes from the reserved lots, in their order, and what is needed beyond them."""
        takes, left = {}, {m: a for m, a in amounts.items() if m not in chosen}
        for lot_id, amount in held.items():
            material = self.lots[lot_id].material
            taken = min(amount, left.get(material, 0))
            if taken:
                takes[lot_id] = taken
                left[material] -= taken
        return takes, left

    def _beyond(self, beyond, amounts, chosen, held, today):
        found, short = [], False
        unusable = None
        for material in amounts:
            credit = held if material in chosen else {}
            views = {i: lot.view(credit.get(i, 0)) for i, lot in self.lots.items()}
            choices = [Choice(views[i], amount) for i, amount in chosen.get(material, ())]
            need = amounts[material] if material in chosen else beyond[material]
            try:
                result = pick(need, views.values(), material=material, on=today, chosen=choices)
            except LotNotUsable as refusal:
                unusable = refusal
                continue
            if isinstance(result, Shortage):
                short = True
            else:
                found += [(p.lot.id, p.amount) for p in result]
        if unusable:
            raise unusable
        if short:
            raise NotEnoughStock("short")
        return found

    def _settle(self, takes, held):
        changes = []
        for lot_id in {*takes, *held}:
            amount, reserved = takes.get(lot_id, 0), held.get(lot_id, 0)
            balance = self.lots[lot_id].balance
            if amount:
                inside = min(amount, reserved)
                changes.append(
                    (lot_id, taking(Verb.CONSUME, balance, amount, from_reserved=inside))
                )
            if reserved > amount:
                changes.append((lot_id, Change(Verb.RELEASE, reserved=amount - reserved)))
        self.enter(changes)

    def draw(self, lot_id, amount, verb, *, on):
        lot = self.lots[lot_id]
        if verb is not Verb.SPOIL and is_expired(lot.best_before, on=on):
            raise LotNotUsable("over")
        if verb is not Verb.SPOIL and lot.state is not LotState.RELEASED:
            raise LotNotUsable("not released")
        if amount > lot.balance.available:
            raise NotEnoughStock("short")
        self.enter([(lot_id, taking(verb, lot.balance, amount))])

    def count(self, lot_id, found):
        lot = self.lots[lot_id]
        balance = lot.balance
        if found < balance.reserved:
            raise LedgerRefusal("reserved")
        if lot.made and found > max(balance.on_hand, lot.made - lot.gone):
            raise LedgerRefusal("more than was made")
        change = counting(balance, found)
        if change:
            self.enter([(lot_id, change)])

    def add_cost(self, lot_id, cost):
        if cost == 0:
            raise LedgerRefusal("nothing to add")
        self.enter([(lot_id, Change(Verb.ADD_COST, cost=cost))])
