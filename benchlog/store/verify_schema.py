"""The form of the database: tables, indexes and guards as the migrations make them, and none beside them."""

from collections.abc import Iterator

from sqlalchemy import BigInteger, Connection, Double, create_engine, text

from benchlog.store.migrations import MIGRATIONS, migrate
from benchlog.store.schema import META
from benchlog.store.trouble import Trouble, shown

Made = dict[tuple[str, str], str]  # kind and name -> text

#: PostgreSQL: what is made, each with the text that a later change of it would change.
_TABLES = """
    SELECT 'table', relname, relkind::text || relpersistence::text || relrowsecurity::text
    FROM pg_class WHERE relnamespace = current_schema()::regnamespace AND relkind NOT IN ('i', 'I', 't', 'c')
"""
_COLUMNS = """
    SELECT 'column', c.relname || '.' || a.attname,
        format_type(a.atttypid, a.atttypmod) || ' ' || a.attnotnull::text || a.atthasdef::text
    FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
    WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r' AND a.attnum > 0 AND NOT a.attisdropped
"""
_TRIGGERS = """
    SELECT 'trigger', t.tgname, t.tgenabled::text || ' ' || pg_get_triggerdef(t.oid)
    FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
    WHERE c.relnamespace = current_schema()::regnamespace AND NOT t.tgisinternal AND t.tgenabled <> 'D'
"""
_RULES = """
    SELECT 'rule', r.rulename, pg_get_ruledef(r.oid) FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class
    WHERE c.relnamespace = current_schema()::regnamespace
"""
_FUNCTIONS = """
    SELECT 'function', p.proname, l.lanname || p.prosrc FROM pg_proc p JOIN pg_language l ON l.oid = p.prolang
    WHERE p.pronamespace = current_schema()::regnamespace
"""
_CONSTRAINTS = """
    SELECT 'constraint', conname, pg_get_constraintdef(oid) FROM pg_constraint
    WHERE connamespace = current_schema()::regnamespace AND contype IN ('p', 'u', 'c', 'x', 'f')
"""
_CATALOGUES = (_TABLES, _COLUMNS, _TRIGGERS, _RULES, _FUNCTIONS, _CONSTRAINTS)
_REFUSES = "plpgsql BEGIN RAISE EXCEPTION 'the ledger is only added to'; END"
_GUARDS = ("ledger_no_update", "ledger_no_delete", "ledger_no_replace", "ledger_no_change", "ledger_no_truncate")


def of_schema(connection: Connection) -> Iterator[Trouble]:
    """What of the database's form differs from what benchlog makes; of guards, one sentence for all that are gone."""
    sqlite = connection.dialect.name == "sqlite"
    wanted, there = (
        (_made_by_migrations(), _in_sqlite(connection)) if sqlite else (_planned(), _in_catalogue(connection))
    )
    gone = sorted(name for kind, name in wanted.keys() - there.keys() if name in _GUARDS)
    if gone:
        yield Trouble(
            f"what guards the ledger against changes was taken away ({', '.join(gone)}): "
            "someone with rights in the database did so",
            "ledger",
        )
    for key in sorted(wanted.keys() | there.keys()):
        kind, name = key
        if key in wanted and key in there and wanted[key] != there[key]:
            told = f"the {kind} {name} of the database is not as benchlog made it: {shown(there[key])}"
        elif key not in wanted:
            told = f"the database has a {kind} {shown(name)} that benchlog did not make"
        elif key not in there and name not in _GUARDS:
            told = f"the {kind} {name} of the database is gone"
        else:
            continue
        yield Trouble(told, "ledger")
    yield from _of_steps(connection)


def of_file(connection: Connection) -> Iterator[Trouble]:
    """Whether a SQLite file fits together: pages, indexes, and what its columns may hold."""
    if connection.dialect.name != "sqlite":
        return
    said = [str(line) for (line,) in connection.exec_driver_sql("PRAGMA integrity_check(10)")]
    if said != ["ok"]:
        yield Trouble(f"the file does not fit together: {'; '.join(said)}", "ledger")


def _of_steps(connection: Connection) -> Iterator[Trouble]:
    """The form's number: one row for each step, no other."""
    numbers = connection.execute(text("SELECT number FROM schema_version")).scalars().all()
    if sorted(numbers, key=str) != sorted(range(1, len(MIGRATIONS) + 1), key=str):
        yield Trouble(f"the steps that made the store are noted as {shown(list(numbers))}", "ledger")


def _in_sqlite(connection: Connection) -> Made:
    # what SQLite makes of itself is named sqlite_: indexes of keys, and statistics where someone asked for them
    found = connection.exec_driver_sql("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {
        (str(kind), str(name)): " ".join(str(made).split())
        for kind, name, made in found
        if not str(name).startswith("sqlite_stat")
    }


def _made_by_migrations() -> Made:
    engine = create_engine("sqlite://")
    try:
        with engine.connect() as fresh:
            migrate(fresh, "a store in memory")
            return _in_sqlite(fresh)
    finally:
        engine.dispose()


def _in_catalogue(connection: Connection) -> Made:
    own = str(connection.execute(text("SELECT quote_ident(current_schema())")).scalar_one())
    made: Made = {}
    for query in _CATALOGUES:
        for kind, name, told in connection.exec_driver_sql(query):
            made[str(kind), str(name)] = " ".join(str(told).replace(f"{own}.", "").split())
    return made


def _planned() -> Made:
    """What PostgreSQL tells of a store that was just made (its manual, chapter 53, system catalogues)."""
    made: Made = {("function", "ledger_refuse"): _REFUSES}
    for table in META.tables.values():
        made["table", table.name] = "rpfalse"  # ordinary, permanent, no rows hidden from anyone
        keys = ", ".join(column.name for column in table.primary_key)
        made["constraint", f"{table.name}_pkey"] = f"PRIMARY KEY ({keys})"
        for column in table.columns:
            kind = {BigInteger: "bigint", Double: "double precision"}.get(type(column.type), "text")
            made["column", f"{table.name}.{column.name}"] = f"{kind} {str(not column.nullable).lower()}false"
    made["constraint", "head_one_check"] = "CHECK ((one = 1))"
    made["constraint", "ledger_hash_key"] = "UNIQUE (hash)"
    for name, when, each in (
        ("ledger_no_change", "DELETE OR UPDATE", "ROW"),
        ("ledger_no_truncate", "TRUNCATE", "STATEMENT"),
    ):
        made["trigger", name] = (
            f"O CREATE TRIGGER {name} BEFORE {when} ON ledger FOR EACH {each} EXECUTE FUNCTION ledger_refuse()"
        )
    return made
