"""Under which names the page may be asked for: against rebound DNS and foreign forms."""

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit


@dataclass(frozen=True, slots=True)
class Site:
    """The port that is listened on, and the address of a proxy or a name of this machine, if one
    is configured (``https://tank.example``, without a slash at its end)."""

    port: int
    url: str | None = None

    @property
    def secure(self) -> bool:
        """Whether browsers reach it by TLS."""
        return self.url is not None and self.url.startswith("https://")

    def hosts(self, local: str) -> set[str]:
        """What `Host` may be where a connection came in at this machine's address `local`."""
        address = ipaddress.ip_address(local.partition("%")[0])
        if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped:
            address = address.ipv4_mapped
        names = {f"[{address}]" if address.version == 6 else str(address)}
        if address.is_loopback:
            names.add("localhost")
        found = {f"{name}:{self.port}" for name in names}
        if self.port == 80:
            found |= names
        return found | self._configured()

    def _configured(self) -> set[str]:
        return set() if self.url is None else {urlsplit(self.url).netloc.lower()}

    def origins(self, local: str) -> set[str]:
        """What `Origin` a change may come from."""
        own = {f"http://{host}" for host in self.hosts(local) - self._configured()}
        return own | (set() if self.url is None else {self.url.lower()})
