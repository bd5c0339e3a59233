"""The look-up's own tables, and the triggers that note what has changed; SQL of both engines.

A trigger only writes (kind, id) into the list of what is to be read again: it names no other table of the
record, since SQLite refuses to remake a table that another table's trigger names. SQLite drops a table's own
triggers where a migration remakes it: such a migration calls ``note_again`` last, and a test tells.
"""

from dataclasses import dataclass

from django.db.backends.base.schema import BaseDatabaseSchemaEditor

TEXT = "equipment_look_up"
STALE = "equipment_look_up_stale"
WORD = "equipment_look_up_word"


@dataclass(frozen=True)
class Noted:
    """Rows of ``table`` are noted as ``kind`` by the id in ``column``, where one of ``fields`` changed."""

    table: str
    kind: str
    column: str
    fields: tuple[str, ...]
    new_ones: bool = True


NOTED = (
    Noted("filterslot", "slot", "id",
          ("name", "location", "nominal_size", "short_m", "long_m", "depth_m", "system_id", "first_media_id",
           "retired_on")),
    Noted("filterchange", "slot", "slot_id", ("slot_id", "media_id", "changed_at", "undone_at")),
    Noted("siterole", "site", "site_id", ("site_id", "person_id")),
    Noted("system", "system", "id", ("name", "site_id", "replaced_on"), new_ones=False),
    Noted("site", "site", "id", ("name", "street", "city", "region", "postcode", "customer_id"),
          new_ones=False),
    Noted("customer", "customer", "id", ("name", "gone_on"), new_ones=False),
    Noted("person", "person", "id", ("name", "phone"), new_ones=False),
    Noted("media", "media", "id", ("name",), new_ones=False),
)  # fmt: skip

_TABLES = {
    "sqlite": f"""
CREATE TABLE {STALE} (id integer PRIMARY KEY AUTOINCREMENT, kind text NOT NULL, ref bigint NOT NULL,
  due text);
CREATE TABLE {TEXT} (slot_id integer PRIMARY KEY, place text NOT NULL, body text NOT NULL,
  phones text NOT NULL, media text NOT NULL, size text NOT NULL, short_m real NOT NULL, long_m real NOT NULL,
  depth_m real NOT NULL, sort text NOT NULL);
CREATE TABLE {WORD} (id integer PRIMARY KEY, word text NOT NULL UNIQUE);
CREATE VIRTUAL TABLE {TEXT}_fts USING fts5(body, phones, media, content='{TEXT}', content_rowid='slot_id',
  tokenize='trigram');
CREATE VIRTUAL TABLE {WORD}_fts USING fts5(padded, content='', tokenize='trigram');
CREATE TRIGGER {TEXT}_in AFTER INSERT ON {TEXT} BEGIN
  INSERT INTO {TEXT}_fts(rowid, body, phones, media) VALUES (NEW.slot_id, NEW.body, NEW.phones, NEW.media);
END;
CREATE TRIGGER {TEXT}_out AFTER DELETE ON {TEXT} BEGIN
  INSERT INTO {TEXT}_fts({TEXT}_fts, rowid, body, phones, media)
  VALUES ('delete', OLD.slot_id, OLD.body, OLD.phones, OLD.media);
END;
CREATE TRIGGER {TEXT}_anew AFTER UPDATE ON {TEXT} BEGIN
  INSERT INTO {TEXT}_fts({TEXT}_fts, rowid, body, phones, media)
  VALUES ('delete', OLD.slot_id, OLD.body, OLD.phones, OLD.media);
  INSERT INTO {TEXT}_fts(rowid, body, phones, media) VALUES (NEW.slot_id, NEW.body, NEW.phones, NEW.media);
END;
CREATE TRIGGER {WORD}_in AFTER INSERT ON {WORD} BEGIN
  INSERT INTO {WORD}_fts(rowid, padded) VALUES (NEW.id, '  ' || NEW.word || ' ');
END;
""",  # noqa: S608
    "postgresql": f"""
CREATE EXTENSION IF NOT EXISTS pg_trgm;
CREATE TABLE {STALE} (id bigserial PRIMARY KEY, kind text NOT NULL, ref bigint NOT NULL, due timestamptz);
CREATE TABLE {TEXT} (slot_id bigint PRIMARY KEY, place text NOT NULL, body text NOT NULL,
  phones text NOT NULL, media text NOT NULL, size text NOT NULL, short_m double precision NOT NULL,
  long_m double precision NOT NULL, depth_m double precision NOT NULL, sort text COLLATE "C" NOT NULL);
CREATE TABLE {WORD} (word text PRIMARY KEY);
CREATE INDEX {TEXT}_trigrams ON {TEXT}
  USING gin (body gin_trgm_ops, phones gin_trgm_ops, media gin_trgm_ops) WITH (fastupdate = off);
CREATE INDEX {WORD}_trigrams ON {WORD} USING gin (word gin_trgm_ops);
CREATE FUNCTION equipment_look_up_note() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP <> 'DELETE' THEN
    INSERT INTO {STALE} (kind, ref) VALUES (TG_ARGV[0], (to_jsonb(NEW) ->> TG_ARGV[1])::bigint);
  END IF;
  IF TG_OP <> 'INSERT' THEN
    INSERT INTO {STALE} (kind, ref) VALUES (TG_ARGV[0], (to_jsonb(OLD) ->> TG_ARGV[1])::bigint);
  END IF;
  RETURN NULL;
END $$;
""",  # noqa: S608
}
# Sizes are gone through one by one, and the slots of each in order of home and code.
_INDEXES = f"""
CREATE INDEX {TEXT}_size ON {TEXT} (size, sort);
"""
_DROPS = {
    "sqlite": (f"TABLE {TEXT}_fts", f"TABLE {WORD}_fts"),
    "postgresql": ("FUNCTION equipment_look_up_note()",),
}


def put_up(editor: BaseDatabaseSchemaEditor) -> None:
    """Make the tables and triggers, and note every slot there is."""
    _run(editor, _TABLES[editor.connection.vendor] + _INDEXES)
    note_again(editor)


def note_again(editor: BaseDatabaseSchemaEditor) -> None:
    """Make every trigger anew and note every slot; for migrations that remake one of the tables."""
    for noted in NOTED:
        for event in ("insert", "update", "delete"):
            editor.execute(_dropped(editor, noted, event))
            if event == "update" or noted.new_ones:
                editor.execute(_trigger(editor, noted, event))
    editor.execute(f"INSERT INTO {STALE} (kind, ref) SELECT 'slot', id FROM equipment_filterslot")  # noqa: S608


def take_down(editor: BaseDatabaseSchemaEditor) -> None:
    """Leave nothing of it."""
    for noted in NOTED:
        for event in ("insert", "update", "delete"):
            editor.execute(_dropped(editor, noted, event))
    for what in (*_DROPS[editor.connection.vendor], *(f"TABLE {table}" for table in (TEXT, STALE, WORD))):
        editor.execute(f"DROP {what}")


def trigger_names() -> set[str]:
    """All triggers on the record's own tables that must stand."""
    return {
        _name(noted, event)
        for noted in NOTED
        for event in ("insert", "update", "delete")
        if event == "update" or noted.new_ones
    }


def _run(editor: BaseDatabaseSchemaEditor, script: str) -> None:
    """One statement at a time, inside the migration's transaction; one ends with ``;`` at a line's end."""
    statement = ""
    for line in script.strip().splitlines():
        statement += line + "\n"
        inside = " BEGIN\n" in statement or "$$\n" in statement
        if line.endswith(";") and (not inside or line.startswith("END")):
            editor.execute(statement)
            statement = ""


def _name(noted: Noted, event: str) -> str:
    return f"look_up_notes_{noted.table}_{event}"


def _dropped(editor: BaseDatabaseSchemaEditor, noted: Noted, event: str) -> str:
    where = f" ON equipment_{noted.table}" if editor.connection.vendor == "postgresql" else ""
    return f"DROP TRIGGER IF EXISTS {_name(noted, event)}{where}"


def _trigger(editor: BaseDatabaseSchemaEditor, noted: Noted, event: str) -> str:
    postgres = editor.connection.vendor == "postgresql"
    head = f"CREATE TRIGGER {_name(noted, event)} AFTER {event} ON equipment_{noted.table} FOR EACH ROW"
    if event == "update":
        differs = "IS DISTINCT FROM" if postgres else "IS NOT"
        changed = " OR ".join(f"OLD.{field} {differs} NEW.{field}" for field in noted.fields)
        head += f" WHEN ({changed})"
    if postgres:
        return f"{head} EXECUTE FUNCTION equipment_look_up_note('{noted.kind}', '{noted.column}')"
    rows = {"insert": ("NEW",), "update": ("NEW", "OLD"), "delete": ("OLD",)}[event]
    body = " ".join(
        f"INSERT INTO {STALE} (kind, ref) VALUES ('{noted.kind}', {row}.{noted.column});"  # noqa: S608
        for row in rows
    )
    return f"{head} BEGIN {body} END"
