"""Text from outside made fit to be shown: on a terminal, in a log, a mail, a page.

What others say (a person, a hub, a broker, a library) must neither steer a terminal, nor begin a
line that looks like ours, nor turn its direction, nor give away a password.
"""

import re
from collections.abc import Iterable

_ELLIPSIS = "..."
# user:password@ before a host, with or without a scheme; and what queries call their secrets
_BEFORE_HOST = re.compile(r"(?<=://)[^/\s@'\"]+@|(?<![\w/@.:-])[^\s/@:'\"]+:[^\s/@'\"]+@(?=[\w\[])")
_IN_QUERY = re.compile(
    r"(?i)(?<=[?&])(p|pw|pass|passwd|password|u|user|username|token|access_token|key|api_?key|"
    r"auth|secret|sig|signature)=[^&\s'\")]+"
)
_STARS = "***"


def shown(text: str, most: int | None = None) -> str:
    """`text` with everything that is not plain print as an escape: control characters, line ends
    (also U+2028), marks that turn the direction, lone surrogates. At most `most` characters.

    >>> shown("a\\x1b[31mb\\nc")
    'a\\\\x1b[31mb\\\\nc'
    """
    safe = text if text.isprintable() else "".join(map(_escaped, text))
    if most is None or len(safe) <= most:
        return safe
    return safe[: most - len(_ELLIPSIS)] + _ELLIPSIS


def shown_lines(text: str) -> str:
    """The same for text of several lines: its line feeds stay, nothing else that ends a line."""
    return "\n".join(shown(line) for line in text.split("\n"))


def _escaped(character: str) -> str:
    if character.isprintable():
        return character
    return character.encode("unicode_escape").decode("ascii")


def holds_secret(text: str) -> bool:
    """Whether the text looks like an address with a password or token in it."""
    return bool(_BEFORE_HOST.search(text) or _IN_QUERY.search(text))


def without_secrets(text: str, secrets: Iterable[str] = ()) -> str:
    """`text` with the password of every address in it, and each of `secrets`, as stars.

    >>> without_secrets("no answer from http://me:word@db:8086/?u=me&p=word")
    'no answer from http://***@db:8086/?u=***&p=***'
    """
    for secret in sorted(filter(None, secrets), key=len, reverse=True):
        text = text.replace(secret, _STARS)
    if "@" in text:
        text = _BEFORE_HOST.sub(f"{_STARS}@", text)
    return _IN_QUERY.sub(rf"\1={_STARS}", text) if "=" in text else text


def parts_of(address: str) -> list[str]:
    """What may be secret of a web address, to be taken out of what others say of it: all of it,
    and each part but scheme, host, port and what is too short to be one."""
    _, _, rest = address.partition("://")
    before, _, path = rest.partition("/")
    user, _, _ = before.rpartition("@")
    pieces = [address, rest, path, *re.split(r"[:/?&=;]", user), *re.split(r"[/?&=;]", path)]
    return [piece for piece in pieces if len(piece) > 3]
