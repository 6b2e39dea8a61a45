"""The journal's tables.

`record` holds what is rare, a row each; `block` what comes all the time, a row for each tank and
commit; `span` sums up some 64 commits of blocks of a tank. AUTOINCREMENT remembers the last number
of all in `sqlite_sequence`, also when every row is gone. The meta row `journal` tells this journal
from any other, so that another's tail is not taken for its own.
"""

BLOCK_TABLES = """
CREATE TABLE block (
  last_seq INTEGER PRIMARY KEY,
  first_seq INTEGER NOT NULL,
  commit_last INTEGER NOT NULL,
  tank INTEGER NOT NULL,
  rows INTEGER NOT NULL,
  from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL,
  accepted_ms INTEGER,
  kinds INTEGER NOT NULL,
  body BLOB NOT NULL
);
CREATE TABLE span (
  last_seq INTEGER PRIMARY KEY,
  first_seq INTEGER NOT NULL,
  tank INTEGER NOT NULL,
  from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL,
  kinds INTEGER NOT NULL
);
CREATE INDEX span_by_tank ON span (tank, to_ms);
INSERT INTO meta VALUES ('journal', lower(hex(randomblob(8))));
"""

TABLES = f"""
CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE record (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  time_ms INTEGER NOT NULL,
  lag_ms INTEGER NOT NULL,
  synchronised INTEGER NOT NULL,
  boot INTEGER NOT NULL,
  monotonic_s REAL NOT NULL,
  kind INTEGER NOT NULL,
  tank INTEGER NOT NULL,
  body TEXT NOT NULL
);
CREATE INDEX record_by_time ON record (tank, time_ms);
CREATE INDEX record_by_kind ON record (kind, tank);
CREATE TABLE inbox (id INTEGER PRIMARY KEY AUTOINCREMENT, body TEXT NOT NULL, stamp TEXT NOT NULL);
CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE snapshot (
  tank TEXT NOT NULL, seq INTEGER NOT NULL, state BLOB NOT NULL, PRIMARY KEY (tank, seq)
);
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
{BLOCK_TABLES}
"""
