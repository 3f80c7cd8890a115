"""Bytes to an upright RGB picture, or a clear word on why not.

Pillow opens every photo: it checks the header, the size and the EXIF data before a single
pixel is decoded. A plain JPEG, which is nearly every photo, is then decoded by OpenCV straight
into the array that the rest of the room works on; all other kinds, and every JPEG that OpenCV
will not vouch for, are decoded by Pillow. Both use libjpeg-turbo and give the same pixels.
"""

import hashlib
import io
import re
import warnings
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from groupscan.errors import PhotoError

__all__ = [
    "MAX_PHOTO_BYTES",
    "MAX_PHOTO_PIXELS",
    "MIN_PHOTO_SIDE_PX",
    "Photo",
    "read_photo",
]

MAX_PHOTO_PIXELS = 90_000_000
"""Most pixels a photo may have: well above phone photos, and 270 MB once decoded."""

MAX_PHOTO_BYTES = 250_000_000
"""Largest file that is read at all."""

MIN_PHOTO_SIDE_PX = 200
"""Shortest side of a photo that holes could be measured in."""

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
_FORMATS_SAID = "JPEG, PNG, WebP, TIFF or HEIC"
_SIGNATURES = re.compile(
    rb"\xff\xd8\xff|\x89PNG|RIFF....WEBP|II\*\0|MM\0\*|....ftyp(hei|hev|mif|msf)", re.DOTALL
)

# EXIF tags, by number since Pillow's names for them have changed: Exif 2.32 (JEITA CP-3451).
_ORIENTATION, _EXIF_IFD, _TAKEN_AT, _FOCAL_35MM = 0x0112, 0x8769, 0x9003, 0xA405
_FILM_DIAGONAL_MM = (36.0**2 + 24.0**2) ** 0.5

_TURNS = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}
_FLIPS = {2: 1, 4: 0}

pillow_heif.register_heif_opener()


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright photo.

    Attributes
    ----------
    name : str
        What to call it in messages and tables.
    rgb : (h, w, 3) uint8 array
        The picture as shown, after the EXIF orientation; read-only. Colours are as stored, no
        colour profile is applied.
    focal_px : float or None
        Focal length in pixels after the photo's EXIF data, a prior good to about 5 %
        (see `read_photo`); None where the photo does not say.
    sha256 : str
        Hexadecimal SHA-256 of the file's bytes.
    taken_at : datetime or None
        When the photo was taken, by the camera's own clock, without a time zone.
    """

    name: str
    rgb: NDArray[np.uint8] = field(repr=False)
    focal_px: float | None = None
    sha256: str = ""
    taken_at: datetime | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return int(self.rgb.shape[1]), int(self.rgb.shape[0])

    def reduced(self, shrink: float) -> NDArray[np.uint8]:
        """Return the picture reduced for coarse work, each pixel the mean of what it covers.

        Parameters
        ----------
        shrink : float
            By how much; 1 or less is the picture itself. A place x of the photo is at
            ``(x + 0.5) / shrink - 0.5``, to the rounding of the size.

        Returns
        -------
        (h, w, 3) uint8 array

        Notes
        -----
        Means over anything but whole blocks of two are slow, so they are taken from a picture of
        half the size, which is made once for all that ask. That shares out the pixels under a
        mean's border by pairs; at sharp edges it may differ by some grey levels.
        """
        if shrink <= 1:
            return self.rgb
        width, height = self.size
        whole = shrink >= 2 and width % 2 == 0 and height % 2 == 0
        size = (max(1, round(width / shrink)), max(1, round(height / shrink)))
        picture = self._half if whole else self.rgb
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)

    @cached_property
    def _half(self) -> NDArray[np.uint8]:
        width, height = self.size
        half = cv2.resize(self.rgb, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        return np.asarray(half, np.uint8)


def read_photo(source: bytes | Path | str, *, name: str | None = None) -> Photo:
    """Read a photo: JPEG (MPO too), PNG, WebP, TIFF or HEIC.

    Parameters
    ----------
    source : bytes, Path or str
        The file's bytes, or the path of the file.
    name : str, optional
        What to call the photo in messages; the file's name, or "photo", unless given.

    Returns
    -------
    Photo
        Upright, 8 bits a channel. Grey, palette, CMYK and 16-bit pictures are brought to RGB
        (16 bits by their upper 8); what is see-through is laid over white.

    Raises
    ------
    PhotoError
        If there is no such file, or it is empty, not a photo, damaged or cut short, has more
        than `MAX_PHOTO_PIXELS` pixels or a side shorter than `MIN_PHOTO_SIDE_PX`.

    Notes
    -----
    The focal length comes from EXIF's *FocalLengthIn35mmFilm* by the diagonal (CIPA DCG-001):
    ``f_px = f35 / 43.27 mm * diagonal in pixels``. Some makers go by the width instead, which
    differs by 4 % at 4:3, and cropping or digital zoom spoil it; hence it is a prior, no more.

    References
    ----------
    CIPA DC-008 / JEITA CP-3451, *Exchangeable image file format for digital still cameras:
    Exif*, version 2.32, 2019 (tags 0x0112, 0x9003, 0xA405).

    Examples
    --------
    >>> import io
    >>> from PIL import Image
    >>> file = io.BytesIO()
    >>> Image.new("L", (320, 240), 128).save(file, "PNG")
    >>> photo = read_photo(file.getvalue(), name="grey card")
    >>> photo.size, photo.rgb[0, 0].tolist()
    ((320, 240), [128, 128, 128])
    """
    data, name = _load(source, name)
    with warnings.catch_warnings():
        # Pillow warns of large pictures and odd EXIF data; the checks below have the say.
        warnings.simplefilter("ignore")
        image = _open(data, name)
        tags = _exif(image)
        try:
            rgb = _decode_plain_jpeg(data, image)
            if rgb is None:
                rgb = _decode(image)
        except Exception as error:
            # Decoders fed with damaged bytes raise nearly anything, struct.error to TypeError.
            raise PhotoError(_damaged(name, str(error))) from error
    rgb.setflags(write=False)
    return Photo(
        name=name,
        rgb=rgb,
        focal_px=_focal_px(tags, image.size),
        sha256=hashlib.sha256(data).hexdigest(),
        taken_at=_taken_at(tags),
    )


def _load(source: bytes | Path | str, name: str | None) -> tuple[bytes, str]:
    """Return the file's bytes and the photo's name, or say why there are none."""
    if isinstance(source, bytes):
        name = name or "photo"
        size, data = len(source), source
    else:
        path = Path(source)
        name = name or path.name or str(path)
        try:
            if path.is_dir():
                raise PhotoError(f"{path} is a folder: give the photos in it by name.")
            if not path.exists():
                raise PhotoError(f"There is no file {path}: check its name and folder.")
            if not path.is_file():
                raise PhotoError(f"{path} is not a plain file: give the path of a photo.")
            size = path.stat().st_size
            data = path.read_bytes() if size <= MAX_PHOTO_BYTES else b""
        except (OSError, ValueError) as error:
            if isinstance(error, PhotoError):
                raise
            raise PhotoError(
                f"{str(source)!r} cannot be read ({error}): check its name and permissions."
            ) from error
    if size == 0:
        raise PhotoError(
            f"{name} is empty (0 bytes): the copy or upload did not finish; copy it again."
        )
    if size > MAX_PHOTO_BYTES:
        raise PhotoError(
            f"{name} has {size / 1e6:.0f} MB, more than the {MAX_PHOTO_BYTES / 1e6:.0f} MB that "
            "a photo may have: export it as JPEG."
        )
    return data, name


def _damaged(name: str, reason: str) -> str:
    return (
        f"{name} is damaged or cut short ({reason}): copy it again from the camera, whole, or "
        "take a new photo."
    )


def _open(data: bytes, name: str) -> Image.Image:
    """Open the picture without decoding it, and check its size."""
    too_large = (
        f"more than the {MAX_PHOTO_PIXELS / 1e6:.0f} megapixels that a photo may have: take or "
        "export it at 12 megapixels, which is enough."
    )
    try:
        image = Image.open(io.BytesIO(data), formats=_FORMATS)
    except Image.DecompressionBombError as error:
        raise PhotoError(f"{name} has {too_large}") from error
    except Exception as error:
        if isinstance(error, UnidentifiedImageError) and not _SIGNATURES.match(data):
            raise PhotoError(
                f"{name} is not a photo that can be read here: give a {_FORMATS_SAID} file."
            ) from error
        raise PhotoError(_damaged(name, "its header cannot be read")) from error
    width, height = image.size
    if width * height > MAX_PHOTO_PIXELS:
        raise PhotoError(f"{name} has {width * height / 1e6:.0f} megapixels, {too_large}")
    if min(width, height) < MIN_PHOTO_SIDE_PX:
        raise PhotoError(
            f"{name} has only {width} x {height} pixels, too few to measure holes in (at least "
            f"{MIN_PHOTO_SIDE_PX} a side): give the photo as the camera took it, no thumbnail."
        )
    return image


def _decode_plain_jpeg(data: bytes, image: Image.Image) -> NDArray[np.uint8] | None:
    """Decode a JPEG by OpenCV; None if it is no plain JPEG or may be cut short."""
    if image.format not in ("JPEG", "MPO") or image.mode not in ("L", "RGB"):
        return None
    # OpenCV refuses cut files today; the end marker makes sure of it in every version. Inside
    # the picture's data 0xFF is always followed by 0, so the pair cannot occur by chance.
    if data.rfind(b"\xff\xd9") <= data.rfind(b"\xff\xda"):
        return None
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        rgb: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        return None
    if rgb is None or rgb.shape[1::-1] != image.size:
        return None
    return _upright(rgb, image)


def _decode(image: Image.Image) -> NDArray[np.uint8]:
    """Decode any picture by Pillow and bring it to 8-bit RGB."""
    image.load()
    if image.mode.startswith("I"):
        # Pillow's own conversion clips at 255 instead of scaling.
        deep = np.asarray(image).clip(0, 65535).astype(np.uint16)
        return _upright(np.repeat((deep >> 8).astype(np.uint8)[:, :, None], 3, axis=2), image)
    if image.mode == "F":
        raise ValueError("floating-point pixels have no agreed white; save it with 8 bits")
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        flat = Image.new("RGB", image.size, "white")
        flat.paste(layer, mask=layer.getchannel("A"))
    else:
        flat = image if image.mode == "RGB" else image.convert("RGB")
    return _upright(np.array(flat), image)


def _upright(pixels: NDArray[np.uint8], image: Image.Image) -> NDArray[np.uint8]:
    """Turn the picture as its EXIF orientation says.

    Asked only after decoding: Pillow turns a TIFF while decoding and then drops the tag. A HEIC
    is turned by its container, and its EXIF tag may still be the old one.
    """
    orientation = 1 if image.format == "HEIF" else _exif(image).get(_ORIENTATION, 1)
    turned: Any = pixels
    if orientation in _TURNS:
        turned = cv2.rotate(pixels, _TURNS[orientation])
    elif orientation in _FLIPS:
        turned = cv2.flip(pixels, _FLIPS[orientation])
    elif orientation in (5, 7):
        turned = cv2.transpose(pixels)
        if orientation == 7:
            turned = cv2.flip(turned, -1)
    upright: NDArray[np.uint8] = turned
    return upright


def _exif(image: Image.Image) -> dict[int, Any]:
    """Return the EXIF tags in use here; what is unreadable counts as not given."""
    try:
        exif = image.getexif()
        inner = exif.get_ifd(_EXIF_IFD)
        tags = {_ORIENTATION: exif.get(_ORIENTATION)}
        tags |= {tag: inner.get(tag) for tag in (_TAKEN_AT, _FOCAL_35MM)}
    except Exception:
        # Damaged EXIF data is no reason to refuse the picture.
        return {}
    return {tag: value for tag, value in tags.items() if value is not None}


def _focal_px(tags: dict[int, Any], size: tuple[int, int]) -> float | None:
    try:
        focal_mm = float(tags[_FOCAL_35MM])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    # 0 says "unknown" in the standard; 5 to 2000 mm is from fisheye to the longest telephoto.
    if not 5.0 <= focal_mm <= 2000.0:
        return None
    return focal_mm / _FILM_DIAGONAL_MM * float(np.hypot(*size))


def _taken_at(tags: dict[int, Any]) -> datetime | None:
    try:
        return datetime.strptime(str(tags[_TAKEN_AT]).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except (KeyError, ValueError):
        return None
