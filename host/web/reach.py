"""From where the pages can be reached, and under which names."""

import ipaddress
import socket
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Reach of a desk's pages.

    Attributes
    ----------
    listen : str
        Address that the server listens on.
    names : frozenset[str]
        Names on the network that people open the pages by, besides this machine's own.
    behind_proxy : bool
        True where a proxy on this machine speaks TLS and hands requests on.
    """

    listen: str = "127.0.0.1"
    names: frozenset[str] = field(default_factory=frozenset)
    behind_proxy: bool = False

    @property
    def is_this_machine_only(self) -> bool:
        """Tell whether nobody but who sits at this machine can open the pages."""
        return not self.behind_proxy and is_loopback(self.listen)

    def knows(self, name: str) -> bool:
        """Tell whether a request may call this desk so.

        An address is taken as it is: what another site can lend to this machine's address is a name.
        """
        if is_loopback(name):
            return True
        own = socket.gethostname().lower()
        if name in self.names or name in (own, f"{own}.local"):
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def is_loopback(name: str) -> bool:
    """Tell whether a name or address leads back to this machine."""
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False
