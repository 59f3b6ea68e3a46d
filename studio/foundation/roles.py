"""Who works here: the three roles and what each may do.

A capability names a kind of work, not a page; every endpoint declares which one it needs (see
`studio.web.permissions`) and this module holds the one table of who has it.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from django.db import models


class Role(models.TextChoices):
    """Owner answers for the studio, maker works at the bench, viewer looks."""

    OWNER = "owner", "Owner"
    MAKER = "maker", "Maker"
    VIEWER = "viewer", "Viewer"


class Capability(StrEnum):
    """A kind of work that an endpoint may ask for."""

    ANYONE = "anyone"  # also before sign-in: no business facts may be behind it
    SIGNED_IN = "signed_in"  # any account, even one without a role: sign out, who am I
    READ = "read"  # look at stock, recipes, batches
    COMPUTE = "compute"  # arithmetic that stores nothing
    KEEP_STOCK = "keep_stock"  # materials, suppliers, offers, deliveries, lots, counts
    PLAN = "plan"  # recipes, molds, planned batches, reservations
    MAKE = "make"  # weigh, pour, cut, cure
    PRICE = "price"  # rates, price lists, what customers pay
    SETTLE = "settle"  # studio settings; what changes the worth of the books
    DECIDE = "decide"  # what becomes of soap that is held as unsafe
    ADMIN = "admin"  # accounts and their roles
    SEE_COSTS = "see_costs"  # read and write costs and prices


_BENCH = frozenset(
    {
        Capability.READ,
        Capability.COMPUTE,
        Capability.KEEP_STOCK,
        Capability.PLAN,
        Capability.MAKE,
    }
)

CAPABILITIES: Mapping[Role, frozenset[Capability]] = MappingProxyType(
    {
        Role.OWNER: frozenset(Capability),
        Role.MAKER: _BENCH | {Capability.ANYONE, Capability.SIGNED_IN},
        Role.VIEWER: frozenset(
            {Capability.ANYONE, Capability.SIGNED_IN, Capability.READ, Capability.COMPUTE}
        ),
    }
)


def role_of(user: Any) -> Role | None:
    """The role of an account; None without one. A superuser without a role counts as owner."""
    if not getattr(user, "is_authenticated", False) or not user.is_active:
        return None
    membership = getattr(user, "membership", None)
    if membership is not None:
        return Role(membership.role)
    return Role.OWNER if user.is_superuser else None


def capabilities_of(user: Any) -> frozenset[Capability]:
    """All that this account may do, its leave to see costs included."""
    if not getattr(user, "is_authenticated", False) or not user.is_active:
        return frozenset({Capability.ANYONE})
    role = role_of(user)
    if role is None:
        return frozenset({Capability.ANYONE, Capability.SIGNED_IN})
    able = CAPABILITIES[role]
    membership = getattr(user, "membership", None)
    if membership is not None and membership.may_see_costs:
        able |= {Capability.SEE_COSTS}
    return able


def may_decide(user: Any) -> bool:
    """Whether this account may say what becomes of soap that is held as unsafe."""
    return Capability.DECIDE in capabilities_of(user)


def may_see_costs(user: Any) -> bool:
    """Whether costs and prices may be shown to, and set by, this account."""
    return Capability.SEE_COSTS in capabilities_of(user)
