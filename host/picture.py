"""A picture that somebody brings along, made safe to keep: small, upright, nothing in it but the picture.

What a phone writes beside the picture (place, time, owner, a second small picture) is left behind: it is
drawn anew, and only its points go into the new file.
"""

import hashlib
import io
from dataclasses import dataclass
from enum import StrEnum

from PIL import Image, UnidentifiedImageError

from host.errors import DeskError

#: Largest file that is taken: a phone's photo at its best. [byte]
LARGEST_FILE = 12_000_000
_MOST_POINTS = 60_000_000
_PHOTO_PX = 1600
_LOGO_PX = (800, 330)  # the room on a certificate, at some 600 points an inch
_JPEG_QUALITY = 82
_TAKEN = ("JPEG", "PNG")
# Orientation by the Exif standard (CIPA DC-008): what is to be done to see it as it was held.
_ORIENTATION = 0x0112
_TURNED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_UNREADABLE = (
    OSError,
    SyntaxError,
    ValueError,
    Image.DecompressionBombError,
)


class PictureError(DeskError):
    """A file that is no picture the desk takes."""


class MediaType(StrEnum):
    """What a picture is kept as."""

    JPEG = "image/jpeg"
    PNG = "image/png"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture as it is kept."""

    media_type: MediaType
    data: bytes

    @property
    def sha256(self) -> str:
        """Digest of its bytes, by which pages name it."""
        return hashlib.sha256(self.data).hexdigest()


def photo_of(file: bytes) -> Picture:
    """Photo of a sender, JPEG of 1600 points at most on its longer side.

    Raises
    ------
    PictureError
        If it is too large, or no JPEG or PNG.
    """
    drawn = _drawn(file, (_PHOTO_PX, _PHOTO_PX))
    if drawn.mode != "RGB":
        drawn = _on_white(drawn)
    return Picture(media_type=MediaType.JPEG, data=_written(drawn, "JPEG"))


def logo_of(file: bytes) -> Picture:
    """Picture of the shop, a PNG that may be clear in parts.

    Raises
    ------
    PictureError
        If it is too large, or no JPEG or PNG.
    """
    return Picture(media_type=MediaType.PNG, data=_written(_drawn(file, _LOGO_PX).convert("RGBA"), "PNG"))


def _drawn(file: bytes, largest_px: tuple[int, int]) -> Image.Image:
    if len(file) > LARGEST_FILE:
        raise PictureError(f"The file has over {LARGEST_FILE // 1_000_000} MB. Choose a smaller picture.")
    try:
        picture = Image.open(io.BytesIO(file), formats=_TAKEN)
        if picture.width * picture.height > _MOST_POINTS:
            raise PictureError(
                f"The picture has over {_MOST_POINTS // 1_000_000} million points. Make it smaller."
            )
        picture.draft("RGB", largest_px)
        picture.load()
        upright = _upright(picture)
        if upright.mode not in ("RGB", "RGBA"):
            upright = upright.convert("RGBA" if "transparency" in upright.info else "RGB")
        upright.thumbnail(largest_px)
    except UnidentifiedImageError as error:
        raise PictureError(
            "That is no JPEG or PNG picture. Take a photo, or choose a picture file."
        ) from error
    except (
        OSError,
        SyntaxError,
        ValueError,
        Image.DecompressionBombError,
    ) as error:
        raise PictureError("The picture cannot be read to its end. Take or choose it anew.") from error
    return upright


def _upright(picture: Image.Image) -> Image.Image:
    """As it was held, by the one tag that is looked at."""
    try:
        turned = _TURNED.get(picture.getexif().get(_ORIENTATION))
    except Exception:  # noqa: BLE001  tags may hold anything, and Pillow raises as many kinds of errors
        turned = None
    return picture if turned is None else picture.transpose(turned)


def _on_white(picture: Image.Image) -> Image.Image:
    clear = picture.convert("RGBA")
    white = Image.new("RGBA", clear.size, "white")
    white.alpha_composite(clear)
    return white.convert("RGB")


def _written(picture: Image.Image, form: str) -> bytes:
    """File of the points alone: whatever else came with the picture stays behind."""
    bare = Image.new(picture.mode, picture.size)
    bare.paste(picture)
    file = io.BytesIO()
    bare.save(file, form, quality=_JPEG_QUALITY, optimize=True)
    return file.getvalue()
