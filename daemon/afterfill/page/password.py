"""The password: kept as a hash that is slow to guess, compared in constant time."""

import hashlib
import hmac
import secrets
import unicodedata

from afterfill.service.page_needs import long_enough

_COST = {"n": 2**14, "r": 8, "p": 1, "maxmem": 64 * 2**20}  # 16 MB, some 50 ms; our judgement


class Password:
    """What a person must say to come in."""

    def __init__(self, text: str) -> None:
        """`text`: the file's content. Raises ConfigError when it is too short."""
        plain = long_enough(text)
        self._salt = secrets.token_bytes(16)
        self._hash = self._hashed(plain)

    def is_it(self, said: str) -> bool:
        """Whether `said` is the password. Takes as long whatever was said."""
        return hmac.compare_digest(self._hashed(said), self._hash)

    def _hashed(self, text: str) -> bytes:
        plain = unicodedata.normalize("NFC", text).encode("utf-8", "surrogatepass")
        return hashlib.scrypt(plain, salt=self._salt, **_COST)
