"""Triggers by which the database itself keeps a quote as it was sent.

A quote that is no longer a draft keeps its lines and every value but its state, which only moves
on: sent to accepted, declined or expired. Its history is only added to. SQLite does not rebuild a
table that a trigger names: a migration that changes these takes the guard off first.
"""

from studio.foundation.guards import Guard

QUOTE, LINE, EVENT = "costing_quote", "costing_quoteline", "costing_quoteevent"
FROZEN = "a quote that was sent is never changed"
ONWARD = "a quote only moves on: draft, sent, then one answer"
KEPT = "the history of a quote is only added to"
#: What may still change on a quote that was sent.
FREE_COLUMNS = ("state", "revision", "updated_at", "changed_by_id")
FROZEN_COLUMNS = (
    "id", "created_at", "code", "customer_id", "quoted_on", "valid_until", "wanted_on", "discount",
    "freight", "tax_share", "tax_included", "goods", "tax", "total", "terms", "note",
    "override_reason", "override_by_id", "paper", "replaces_id", "by_id",
)  # fmt: skip
_ANSWERS = "('sent', 'accepted', 'declined', 'expired')"
_BACKWARD = f"""(OLD.state = 'draft' AND NEW.state NOT IN ('draft', 'sent'))
    OR (OLD.state = 'sent' AND NEW.state NOT IN {_ANSWERS})
    OR (OLD.state NOT IN ('draft', 'sent') AND NEW.state <> OLD.state)"""


def _changed(different: str) -> str:
    return " OR ".join(f"OLD.{column} {different} NEW.{column}" for column in FROZEN_COLUMNS)


def _sent(*quotes: str) -> str:
    """A condition that one of these quotes is no draft."""
    return f"EXISTS (SELECT 1 FROM {QUOTE} WHERE id IN ({', '.join(quotes)}) AND state <> 'draft')"


#: Lines are loaded from a dump after their quote and before its history, so that what tells a
#: quote that was sent from one that is being loaded is its history, which is never taken away.
_WAS_SENT = f"EXISTS (SELECT 1 FROM {EVENT} WHERE quote_id = NEW.quote_id AND state <> 'draft')"


def _abort(name: str, when: str, condition: str, message: str) -> str:
    return f"""CREATE TRIGGER {name} BEFORE {when}
    WHEN {condition} BEGIN SELECT RAISE(ABORT, '{message}'); END"""


# INSERT OR REPLACE deletes the old row without its DELETE trigger (sqlite.org/lang_conflict).
_REPLACED_LINE = f"""EXISTS (SELECT 1 FROM {LINE} AS old JOIN {QUOTE} AS sent
    ON sent.id = old.quote_id WHERE old.id = NEW.id AND sent.state <> 'draft')"""
_SQLITE_ON = [
    _abort(f"{QUOTE}_frozen", f"UPDATE ON {QUOTE}",
           f"OLD.state <> 'draft' AND ({_changed('IS NOT')})", FROZEN),
    _abort(f"{QUOTE}_onward", f"UPDATE ON {QUOTE}", _BACKWARD, ONWARD),
    _abort(f"{QUOTE}_kept", f"DELETE ON {QUOTE}", "OLD.state <> 'draft'", FROZEN),
    _abort(f"{QUOTE}_no_replace", f"INSERT ON {QUOTE}",
           f"EXISTS (SELECT 1 FROM {QUOTE} WHERE (id = NEW.id OR code = NEW.code)"
           " AND state <> 'draft')", FROZEN),
    _abort(f"{LINE}_frozen", f"UPDATE ON {LINE}", _sent("OLD.quote_id", "NEW.quote_id"), FROZEN),
    _abort(f"{LINE}_kept", f"DELETE ON {LINE}", _sent("OLD.quote_id"), FROZEN),
    _abort(f"{LINE}_no_new", f"INSERT ON {LINE}",
           f"{_WAS_SENT} OR {_REPLACED_LINE}", FROZEN),
    _abort(f"{EVENT}_frozen", f"UPDATE ON {EVENT}", "TRUE", KEPT),
    _abort(f"{EVENT}_kept", f"DELETE ON {EVENT}", "TRUE", KEPT),
    _abort(f"{EVENT}_no_replace", f"INSERT ON {EVENT}",
           f"EXISTS (SELECT 1 FROM {EVENT} WHERE id = NEW.id)", KEPT),
]  # fmt: skip
_SQLITE_OFF = [
    f"DROP TRIGGER IF EXISTS {name}"
    for name in (
        *(f"{QUOTE}_{what}" for what in ("frozen", "onward", "kept", "no_replace")),
        *(f"{LINE}_{what}" for what in ("frozen", "kept", "no_new")),
        *(f"{EVENT}_{what}" for what in ("frozen", "kept", "no_replace")),
    )
]


def _function(table: str, body: str) -> str:
    return f"""CREATE OR REPLACE FUNCTION {table}_guard() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN {body} END $$"""


def _raise(message: str) -> str:
    return f"RAISE EXCEPTION '{message}' USING ERRCODE = 'restrict_violation';"


# OLD and NEW exist only for the verbs that have them, so each verb is asked for by itself.
_POSTGRES_ON = [
    _function(QUOTE, f"""
        IF TG_OP = 'TRUNCATE' THEN {_raise(FROZEN)} END IF;
        IF TG_OP = 'DELETE' THEN
            IF OLD.state <> 'draft' THEN {_raise(FROZEN)} END IF;
            RETURN OLD;
        END IF;
        IF OLD.state <> 'draft' AND ({_changed("IS DISTINCT FROM")}) THEN {_raise(FROZEN)} END IF;
        IF {_BACKWARD} THEN {_raise(ONWARD)} END IF;
        RETURN NEW;"""),
    _function(LINE, f"""
        IF TG_OP = 'TRUNCATE' THEN {_raise(FROZEN)} END IF;
        IF TG_OP <> 'INSERT' AND {_sent("OLD.quote_id")} THEN {_raise(FROZEN)} END IF;
        IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
        IF TG_OP = 'INSERT' AND {_WAS_SENT} THEN {_raise(FROZEN)} END IF;
        IF TG_OP = 'UPDATE' AND {_sent("NEW.quote_id")} THEN {_raise(FROZEN)} END IF;
        RETURN NEW;"""),
    _function(EVENT, _raise(KEPT)),
    f"""CREATE TRIGGER {QUOTE}_guard BEFORE UPDATE OR DELETE ON {QUOTE}
    FOR EACH ROW EXECUTE FUNCTION {QUOTE}_guard()""",
    f"""CREATE TRIGGER {LINE}_guard BEFORE INSERT OR UPDATE OR DELETE ON {LINE}
    FOR EACH ROW EXECUTE FUNCTION {LINE}_guard()""",
    f"""CREATE TRIGGER {EVENT}_guard BEFORE UPDATE OR DELETE ON {EVENT}
    FOR EACH ROW EXECUTE FUNCTION {EVENT}_guard()""",
    # TRUNCATE runs no row triggers.
    *(
        f"""CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}
        FOR EACH STATEMENT EXECUTE FUNCTION {table}_guard()"""
        for table in (QUOTE, LINE, EVENT)
    ),
]  # fmt: skip
_POSTGRES_OFF = [
    f"DROP TRIGGER IF EXISTS {table}_{name} ON {table}"
    for table in (QUOTE, LINE, EVENT)
    for name in ("guard", "no_truncate")
]
QUOTES = Guard(
    tables=[QUOTE, LINE, EVENT],
    on={"sqlite": _SQLITE_ON, "postgresql": _POSTGRES_ON},
    off={"sqlite": _SQLITE_OFF, "postgresql": _POSTGRES_OFF},
)
