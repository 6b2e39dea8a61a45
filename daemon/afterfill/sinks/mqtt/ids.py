"""Ids for other programs: letters, digits, _ and - only, the same at every start, never shared."""

from hashlib import sha256

_OF_JOURNAL = 12  # of its 16 hexadecimal digits; "afterfill-" and these are 22 of MQTT's sure 23


def plain_id(name: str) -> str:
    """`name` as an id. An ASCII name keeps its letters; of others a part of its hash tells two
    names apart that look the same when their letters are taken away.

    >>> plain_id("fish/room_window"), plain_id("olohuone"), plain_id("вода")
    ('fish_room_window', 'olohuone', '_____0611a1b7')
    """
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "_-") else "_" for c in name)
    if name.isascii():
        return plain
    return f"{plain}_{sha256(name.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"


def client_id(configured: str | None, journal: str | None) -> str:
    """The name by which the broker knows a service: as configured, or after its `journal`'s own
    mark, which stays when the machine is renamed and differs between two services of one host."""
    return configured or f"afterfill-{(journal or 'new')[:_OF_JOURNAL]}"
