import pytest
from sqlalchemy import func, select

from host.picture import MediaType, Picture
from host.store.runs import UnknownRunError
from host.store.schema import pictures

ONE = Picture(media_type=MediaType.JPEG, data=b"\xff\xd8\xff one")
OTHER = Picture(media_type=MediaType.PNG, data=b"\x89PNG other")


def test_the_newest_photo_of_a_run_counts_and_other_runs_have_none(store):
    first, second = (store.runs.create(station=None, kind="hand_check", settings={}) for _ in range(2))
    for picture in (ONE, OTHER):
        store.pictures.use_for_run(first, store.pictures.keep(picture))
    assert store.pictures.of_run(first) == OTHER.sha256
    assert store.pictures.of_run(second) is None


def test_one_picture_is_kept_once_however_often_it_comes(store):
    assert store.pictures.keep(ONE) == store.pictures.keep(ONE)
    assert store.pictures.get(ONE.sha256) == ONE
    with store._database.reading() as connection:
        assert connection.execute(select(func.count()).select_from(pictures)).scalar_one() == 1


def test_the_shops_picture_can_be_taken_away_and_set_anew(store):
    assert store.pictures.logo() is None
    store.pictures.use_as_logo(store.pictures.keep(OTHER))
    assert store.pictures.logo() == OTHER
    store.pictures.use_as_logo(None)
    assert store.pictures.logo() is None


def test_no_run_no_photo(store):
    with pytest.raises(UnknownRunError):
        store.pictures.use_for_run(7, store.pictures.keep(ONE))
