"""The store of records: an append-only ledger in SQLite or PostgreSQL, and the logs kept beside it.

with benchlog.store.open_store() as store:
    record = store.save(result, plan="larch.plan.toml", logs=["acceptance.csv"])
    store.sign(record.number, by="workshop")
"""

from benchlog.store.kinds import BikeRow, Change, Record, RecordLog, RecordRow, Signature
from benchlog.store.store import Store, open_store

__all__ = ["BikeRow", "Change", "Record", "RecordLog", "RecordRow", "Signature", "Store", "open_store"]
