"""Who stands in front of a screen."""

from dataclasses import dataclass

from host.people.account import Account
from host.people.role import ALL_ROLES, Role
from host.people.session import Session


@dataclass(frozen=True, slots=True, kw_only=True)
class Visitor:
    """Somebody at a screen, for the length of one request.

    Attributes
    ----------
    account : Account or None
        None at an open desk and before signing in.
    roles : frozenset[Role]
        What they may do at this screen: one role where it is pinned.
    pinned : Role or None
    is_open_desk : bool
        True where the desk has no accounts and one person does everything.
    is_greeted : bool
        True where nobody was asked: a demo takes whoever sits at its machine for one of its people.
    """

    account: Account | None = None
    roles: frozenset[Role] = frozenset()
    pinned: Role | None = None
    is_open_desk: bool = False
    is_greeted: bool = False

    @property
    def name(self) -> str:
        """Name of the person, empty where it is not known."""
        return "" if self.account is None else self.account.name

    @property
    def may_unpin(self) -> bool:
        """Tell whether their own password would give this screen more roles."""
        return self.pinned is not None

    def has_one_of(self, roles: frozenset[Role]) -> bool:
        """Tell whether one of these roles is theirs here."""
        return bool(self.roles & roles)


NOBODY = Visitor()
OPEN_DESK = Visitor(roles=ALL_ROLES, is_open_desk=True)


def greeted(account: Account) -> Visitor:
    """Visitor who is taken for somebody without a password; only a demo does that."""
    return Visitor(account=account, roles=account.roles, is_greeted=True)


def signed_in(account: Account, session: Session) -> Visitor:
    """Visitor of a session; a role that was taken away is gone from a pinned screen too."""
    roles = account.roles if session.pinned is None else account.roles & {session.pinned}
    return Visitor(account=account, roles=roles, pinned=session.pinned)
