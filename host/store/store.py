"""The store as one thing: open it, and every table is at hand."""

import time
from collections.abc import Callable

from sqlalchemy import func, select
from sqlalchemy.exc import OperationalError

from calibration.contract.readings import ReadingPack
from host.citation import Citation
from host.data_folder import DataFolder
from host.errors import DeskError
from host.seal.shop_seal import ShopSeal
from host.shop import shop_in_file
from host.store import schema
from host.store.aside import Aside
from host.store.audit import Audit
from host.store.backups import Backups
from host.store.certificates import Certificates
from host.store.chain import Chain
from host.store.drafts import Drafts
from host.store.engine import Database
from host.store.exercise_results import ExerciseResults
from host.store.identity import Identity
from host.store.idle_readings import IdleReadings
from host.store.kept_settings import KeptSettings
from host.store.orders import Orders
from host.store.own_curves import OwnCurves
from host.store.packs import Packs
from host.store.people import People
from host.store.pictures import Pictures
from host.store.register import Register
from host.store.runs import Runs
from host.store.sessions import Sessions
from host.store.sign_in_failures import SignInFailures
from host.store.stations import Stations
from host.store.upgrade import current_revision, needs_upgrade, upgrade


class Store:
    """Everything the desk keeps; made by `open_store`.

    Attributes
    ----------
    identity, stations, packs, aside, runs, certificates, drafts, chain, register, orders, curves,
    settings, backups
        One table or two each.
    seal
        The shop's seal; its keys are files beside the store and not in it.
    """

    def __init__(self, database: Database, folder: DataFolder, now: Callable[[], float]) -> None:
        self._database = database
        self.now = now
        self.identity = Identity(database)
        self.stations = Stations(database, now)
        self.packs = Packs(database)
        self.aside = Aside(database)
        self.idle_readings = IdleReadings(database)
        self.runs = Runs(database, now)
        self.certificates = Certificates(database, folder.certificates, now)
        self.drafts = Drafts(database, now)
        self.exercise_results = ExerciseResults(database, now)
        self.seal = ShopSeal(folder.keys, now, self.certificates.any_sealed)
        self.chain = Chain(database, now)
        self.register = Register(database, now)
        self.orders = Orders(database, now)
        self.people = People(database, now)
        self.sessions = Sessions(database, now)
        self.sign_in_failures = SignInFailures(database, now)
        self.audit = Audit(database, now)
        self.curves = OwnCurves(database, now)
        self.backups = Backups(database, now)
        self.pictures = Pictures(database, now)
        self.settings = KeptSettings(database, now)
        _take_over_shop_file(self.settings, folder)

    def readings(self, station: str, boot: str, first: int, last: int) -> list[ReadingPack]:
        """Readings ``first`` to ``last`` of a boot, both included."""
        return self.packs.readings(station, boot, first, last)

    def readings_of(self, cited: Citation) -> list[ReadingPack]:
        """Readings of a citation, by number."""
        return self.packs.readings(cited.station, cited.boot, cited.first, cited.last)

    def latest_boot(self, station: str) -> str | None:
        """Newest boot of which anything is accounted for."""
        return self.packs.latest_boot(station)

    def watermark(self, station: str, boot: str) -> int:
        """Watermark of a boot, 0 where nothing is accounted for."""
        return self.packs.watermark(station, boot)

    def revision(self) -> str | None:
        """Schema revision that it has."""
        return current_revision(self._database)

    def counts(self) -> dict[str, int]:
        """How many rows each table has."""
        with self._database.reading() as connection:
            return {
                table.name: int(connection.execute(select(func.count()).select_from(table)).scalar_one())
                for table in schema.metadata.sorted_tables
            }

    @property
    def is_file(self) -> bool:
        """Tell whether it is a file of its data folder, and no server's."""
        return self._database.is_sqlite

    def hold(self) -> None:
        """Be the one desk of this store until it is closed.

        Raises
        ------
        DeskError
            If another desk is.
        """
        self._database.hold()

    def close(self) -> None:
        """Close every connection."""
        self._database.close()


def open_store(folder: DataFolder, *, now: Callable[[], float] = time.time) -> Store:
    """Open the store of a data folder, made or brought up to date where needed.

    A short command may open the store beside a running desk; only a change of the schema
    needs the folder's lock, so that it never happens under a desk at work.

    Raises
    ------
    DataFolderBusyError
        If the schema has to change while another desk is at work.
    SchemaTooNewError
        If a newer version wrote the store.
    """
    database = Database(folder.store_url)
    try:
        if needs_upgrade(database, folder.store):
            locked_before = folder.is_locked_here
            folder.lock()
            database.hold()
            try:
                upgrade(database, folder.store)
            finally:
                database.let_go()
                if not locked_before:
                    folder.unlock()
        return Store(database, folder, now)
    except OperationalError as error:
        database.close()
        if database.is_sqlite:
            raise
        raise DeskError(
            f"The store at {database.address} does not answer ({error.orig}): see that the server runs and "
            "that store.url in the data folder names it rightly."
        ) from error
    except BaseException:
        database.close()
        raise


def _take_over_shop_file(settings: KeptSettings, folder: DataFolder) -> None:
    """Take the shop of a data folder of version 0.1.0 into the settings, once; the file is not read again."""
    if "shop_name" in settings.texts():
        return
    shop = shop_in_file(folder.path / "shop.toml")
    if shop is not None:
        settings.change({"shop_name": shop.name, "shop_address": shop.address})
