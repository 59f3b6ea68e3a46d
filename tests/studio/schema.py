"""What a database is made of, in a form that two ways of making it can be compared by."""

from django.db import connection

_POSTGRES = {
    "columns": """
        SELECT format('%s.%s %s null=%s default=%s identity=%s', c.relname, a.attname,
            format_type(a.atttypid, a.atttypmod), NOT a.attnotnull,
            pg_get_expr(d.adbin, d.adrelid), a.attidentity)
        FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
        LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
        AND a.attnum > 0 AND NOT a.attisdropped""",
    "constraints": """
        SELECT format('%s %s %s', conrelid::regclass, conname, pg_get_constraintdef(oid))
        FROM pg_constraint WHERE connamespace = 'public'::regnamespace""",
    "indexes": "SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "triggers": "SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
    "functions": """
        SELECT prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace""",
}
#: Django's own migrations make the keys of these wider than its models say.
NOT_OURS = ("auth_group_permissions.id ", "auth_user_groups.id ", "auth_user_user_permissions.id ")
_SQLITE = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"


def schema() -> dict[str, set[str]]:
    """Tables with columns and constraints, indexes, triggers and functions of the database."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            return {kind: _rows(cursor, asked) for kind, asked in _POSTGRES.items()}
        cursor.execute(_SQLITE)
        return {f"{kind} {name}": _parts(sql) for kind, name, sql in cursor.fetchall()}


def _rows(cursor, asked) -> set[str]:
    cursor.execute(asked)
    return {row[0] for row in cursor.fetchall() if not row[0].startswith(NOT_OURS)}


def _parts(sql: str) -> set[str]:
    """The definitions in the outermost parentheses: a table rebuilt has its columns reordered."""
    words = " ".join(sql.split())
    if not words.upper().startswith("CREATE TABLE"):
        return {words}
    inside, depth, parts = words[words.index("(") + 1 : words.rindex(")")], 0, [""]
    for letter in inside:
        depth += (letter == "(") - (letter == ")")
        if letter == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += letter
    return {part.strip() for part in parts}
