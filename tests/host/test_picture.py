"""What somebody brings along as a picture: drawn anew, small, and nothing else in it."""

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from host.picture import LARGEST_FILE, MediaType, PictureError, logo_of, photo_of

# Tags by the Exif standard (CIPA DC-008): orientation, maker, and the directory of the place.
ORIENTATION, MAKER, PLACE = 0x0112, 0x010F, 0x8825
NORTH, LATITUDE = 1, 2


def phone_photo(size=(400, 300), *, orientation=6, form="JPEG") -> bytes:
    """A photo as a phone writes it: turned by a tag, with its place inside."""
    picture = Image.new("RGB", size, (200, 30, 30))
    picture.paste((20, 30, 200), (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = orientation, "nobody at all"
    exif.get_ifd(PLACE)[NORTH] = "N"
    exif.get_ifd(PLACE)[LATITUDE] = (52.0, 30.0, 0.0)
    file = io.BytesIO()
    picture.save(file, form, exif=exif.tobytes())
    return file.getvalue()


def opened(picture) -> Image.Image:
    return Image.open(io.BytesIO(picture.data))


def test_the_place_and_the_maker_of_a_phone_are_not_kept():
    before = phone_photo()
    assert dict(Image.open(io.BytesIO(before)).getexif().get_ifd(PLACE))  # it is there to be lost
    kept = opened(photo_of(before))
    assert kept.format == "JPEG" and not dict(kept.getexif()) and "exif" not in kept.info
    assert b"nobody at all" not in photo_of(before).data


def test_a_photo_that_was_held_upright_stays_upright():
    # Orientation 6 is to be turned a quarter clockwise: what was left is then on top.
    kept = opened(photo_of(phone_photo(orientation=6)))
    assert kept.size == (300, 400)
    red, _, blue = kept.getpixel((150, 20))
    assert blue > red


def test_a_large_photo_is_made_small_and_a_small_one_is_left_at_its_size():
    assert max(opened(photo_of(phone_photo((4000, 3000), orientation=1))).size) == 1600
    assert opened(photo_of(phone_photo((400, 300), orientation=1))).size == (400, 300)


def test_a_logo_keeps_what_is_clear_in_it_and_a_photo_is_set_on_white():
    clear = io.BytesIO()
    Image.new("RGBA", (50, 20), (0, 0, 0, 0)).save(clear, "PNG")
    logo = logo_of(clear.getvalue())
    assert logo.media_type is MediaType.PNG and opened(logo).getpixel((1, 1))[3] == 0
    assert opened(photo_of(clear.getvalue())).getpixel((1, 1)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (b"GIF89a" + bytes(64), "no JPEG or PNG"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no JPEG or PNG"),
        (phone_photo()[:900], "cannot be read to its end"),
        (bytes(LARGEST_FILE + 1), "over 12 MB"),
    ],
)
def test_what_is_no_whole_picture_is_refused_in_words(file, words):
    with pytest.raises(PictureError, match=words):
        photo_of(file)


def test_a_small_file_that_would_fill_the_memory_is_refused():
    file = io.BytesIO()
    Image.new("1", (9000, 9000)).save(file, "PNG")
    assert len(file.getvalue()) < 100_000
    with pytest.raises(PictureError, match="million points"):
        photo_of(file.getvalue())


@pytest.mark.filterwarnings("ignore::UserWarning")  # Pillow speaks of broken tags, which nobody keeps
@settings(deadline=None, max_examples=60)
@given(place=st.integers(0, 4000), byte=st.integers(0, 255))
def test_a_flipped_byte_gives_a_picture_or_words_and_nothing_else(place, byte):
    file = bytearray(phone_photo((64, 48)))
    file[place % len(file)] = byte
    try:
        assert max(opened(photo_of(bytes(file))).size) <= 1600
    except PictureError as error:
        assert str(error)
