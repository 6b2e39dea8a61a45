"""The journal's tables.

`record` holds what is rare, a row each; `block` what comes all the time, a row for each tank and
commit; `span` sums up some 64 commits of blocks of a tank. AUTOINCREMENT remembers the last number
of all in `sqlite_sequence`, also when every row is gone. The meta row `journal` tells this journal
from any other, so that another's tail is not taken for its own. `gap` explains numbers that no row
has: dropped while the disk took nothing, or lost to damage that was told. `crc` is the row's
checksum (`check.py`). Without the strings no row can be read: `word_again` is made last, so that it
holds them far from where the table does.
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
"""

GAP_TABLE = """
CREATE TABLE gap (
  last_seq INTEGER PRIMARY KEY,
  first_seq INTEGER NOT NULL,
  numbers INTEGER NOT NULL,
  why TEXT NOT NULL,
  crc INTEGER
);
CREATE INDEX word_again ON word (text, crc);
"""

TABLES = f"""
CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE, crc INTEGER);
CREATE TABLE record (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  time_ms INTEGER NOT NULL,
  lag_ms INTEGER NOT NULL,
  synchronised INTEGER NOT NULL,
  boot INTEGER NOT NULL,
  monotonic_s REAL NOT NULL,
  kind INTEGER NOT NULL,
  tank INTEGER NOT NULL,
  body TEXT NOT NULL,
  crc INTEGER
);
CREATE INDEX record_by_time ON record (tank, time_ms);
CREATE INDEX record_by_kind ON record (kind, tank);
CREATE TABLE inbox (
  id INTEGER PRIMARY KEY AUTOINCREMENT, body TEXT NOT NULL, stamp TEXT NOT NULL, crc INTEGER
);
CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL, crc INTEGER) WITHOUT ROWID;
CREATE TABLE snapshot (
  tank TEXT NOT NULL, seq INTEGER NOT NULL, state BLOB NOT NULL, crc INTEGER,
  PRIMARY KEY (tank, seq)
);
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL, crc INTEGER) WITHOUT ROWID;
{BLOCK_TABLES}
ALTER TABLE block ADD COLUMN crc INTEGER;
ALTER TABLE span ADD COLUMN crc INTEGER;
{GAP_TABLE}"""
