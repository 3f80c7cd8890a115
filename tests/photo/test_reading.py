"""Bytes to an upright picture: every format, every orientation, and every way to be no photo."""

import contextlib
import hashlib
import io
import struct
import zlib
from datetime import datetime

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from groupscan.errors import PhotoError
from groupscan.photo.reading import MAX_PHOTO_PIXELS, Photo, read_photo

WIDTH, HEIGHT = 320, 240
EXIF_IFD, ORIENTATION, TAKEN_AT, FOCAL_35MM = 0x8769, 0x0112, 0x9003, 0xA405


def scene() -> Image.Image:
    """A picture without any symmetry, smooth enough for JPEG: each corner has its own colour."""
    x, y = np.meshgrid(np.linspace(0, 1, WIDTH), np.linspace(0, 1, HEIGHT))
    rgb = np.stack([255 * x, 255 * y, 255 * (1 - x) * (1 - y)], axis=-1)
    return Image.fromarray(rgb.round().astype(np.uint8))


def encoded(image: Image.Image, kind: str, **options: object) -> bytes:
    if kind in ("JPEG", "WEBP", "HEIF", "MPO"):
        options.setdefault("quality", 95)
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def exif(orientation: int = 1, **tags: object) -> Image.Exif:
    data = Image.Exif()
    data[ORIENTATION] = orientation
    inner = data.get_ifd(EXIF_IFD)
    for name, value in tags.items():
        inner[{"taken": TAKEN_AT, "focal": FOCAL_35MM}[name]] = value
    return data


def farthest(photo: Photo, image: Image.Image) -> int:
    want = np.asarray(image.convert("RGB")).astype(int)
    assert photo.rgb.shape == want.shape
    return int(np.abs(photo.rgb - want).max())


@pytest.mark.parametrize("kind", ["JPEG", "MPO", "PNG", "WEBP", "TIFF", "HEIF"])
def test_every_format_gives_the_picture(kind: str) -> None:
    data = encoded(scene(), kind)
    photo = read_photo(data)
    assert farthest(photo, scene()) <= (0 if kind in ("PNG", "TIFF") else 12)
    assert photo.size == (WIDTH, HEIGHT)
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb.flags.c_contiguous
    assert not photo.rgb.flags.writeable
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.focal_px is None
    assert photo.taken_at is None


@pytest.mark.parametrize("subsampling", [0, 2])
@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_is_what_pillow_decodes(subsampling: int, progressive: bool) -> None:
    data = encoded(scene(), "JPEG", subsampling=subsampling, progressive=progressive)
    assert farthest(read_photo(data), Image.open(io.BytesIO(data))) <= 1


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_once(kind: str, orientation: int) -> None:
    data = encoded(scene(), kind, exif=exif(orientation))
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    assert farthest(read_photo(data), upright) <= 1
    if kind == "WEBP":
        return  # OpenCV 4 does not turn these
    # OpenCV has its own reader of the tag.
    by_opencv = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    assert np.abs(read_photo(data).rgb.astype(int) - by_opencv).max() <= 2


@pytest.mark.parametrize("orientation", [0, 9, 77])
def test_an_orientation_that_is_none_is_passed_over(orientation: int) -> None:
    data = encoded(scene(), "JPEG", exif=exif(orientation))
    assert farthest(read_photo(data), scene()) <= 12


def test_heic_is_never_turned_twice() -> None:
    # The decoder turns a HEIC by its container; the EXIF tag must not turn it again.
    data = encoded(scene(), "HEIF", exif=exif(6))
    decoded = Image.open(io.BytesIO(data))
    assert farthest(read_photo(data), decoded) <= 1
    assert decoded.info["original_orientation"] == 6


def test_grey_sixteen_bit_is_scaled_not_clipped() -> None:
    deep = np.linspace(0, 65535, WIDTH * HEIGHT).reshape(HEIGHT, WIDTH).astype(np.uint16)
    for kind in ("PNG", "TIFF"):
        photo = read_photo(encoded(Image.fromarray(deep), kind))
        assert np.abs(photo.rgb.astype(float) - deep[:, :, None] / 257).max() <= 1


@pytest.mark.parametrize("extension", [".png", ".tiff"])
def test_colour_sixteen_bit_is_scaled(extension: str) -> None:
    deep = np.asarray(scene()).astype(np.uint16) * 257
    _, data = cv2.imencode(extension, deep[:, :, ::-1])
    assert farthest(read_photo(data.tobytes()), scene()) <= 1


def test_grey_palette_bilevel_and_cmyk_become_rgb() -> None:
    grey = scene().convert("L")
    assert farthest(read_photo(encoded(grey, "PNG")), grey) == 0
    assert farthest(read_photo(encoded(grey, "JPEG")), grey) <= 6
    palette = scene().quantize(64)
    assert farthest(read_photo(encoded(palette, "PNG")), palette) == 0
    bilevel = grey.point(lambda level: 255 * (level > 99), mode="1")
    assert farthest(read_photo(encoded(bilevel, "PNG")), bilevel) == 0
    white_ink = Image.new("CMYK", (WIDTH, HEIGHT), (0, 0, 0, 0))
    assert read_photo(encoded(white_ink, "JPEG")).rgb.min() >= 250
    black_ink = Image.new("CMYK", (WIDTH, HEIGHT), (0, 0, 0, 255))
    assert read_photo(encoded(black_ink, "TIFF")).rgb.max() <= 5


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_what_is_see_through_lies_over_white(kind: str) -> None:
    options = {"lossless": True} if kind == "WEBP" else {}
    layer = Image.new("RGBA", (WIDTH, HEIGHT), (0, 0, 0, 0))
    layer.paste((200, 0, 0, 255), (0, 0, 100, HEIGHT))
    layer.paste((0, 0, 200, 128), (100, 0, 200, HEIGHT))
    row = read_photo(encoded(layer, kind, **options)).rgb[50, [50, 150, 250]].astype(int)
    # The middle stripe is half of (0, 0, 200) and half of white, by the definition of "over".
    want = [[200, 0, 0], [127, 127, 227], [255, 255, 255]]
    assert np.abs(row - want).max() <= 1


def test_a_transparent_colour_of_a_palette_lies_over_white() -> None:
    palette = scene().quantize(8)
    corner = palette.getpixel((0, 0))
    rgb = read_photo(encoded(palette, "PNG", transparency=corner)).rgb
    seen_through = np.asarray(palette) == corner
    assert (rgb[seen_through] == 255).all()
    assert (rgb[~seen_through] == np.asarray(palette.convert("RGB"))[~seen_through]).all()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_focal_length_and_time(kind: str) -> None:
    # A full-frame picture of 36 x 24 mm: the 35 mm equivalent is the focal length itself.
    image = Image.new("RGB", (360, 240))
    data = encoded(image, kind, exif=exif(focal=50, taken="2026:05:09 17:30:01"))
    photo = read_photo(data)
    assert photo.focal_px == pytest.approx(500.0)
    assert photo.taken_at == datetime(2026, 5, 9, 17, 30, 1)


def test_focal_length_does_not_depend_on_the_turn() -> None:
    both = [read_photo(encoded(scene(), "JPEG", exif=exif(o, focal=26))).focal_px for o in (1, 6)]
    assert both[0] is not None
    assert both[0] == both[1]


@pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "yesterday", ""])
def test_an_unset_clock_or_focal_length_is_none(taken: str) -> None:
    photo = read_photo(encoded(scene(), "JPEG", exif=exif(focal=0, taken=taken)))
    assert photo.taken_at is None
    assert photo.focal_px is None


def test_damaged_exif_does_not_refuse_the_picture() -> None:
    data = encoded(scene(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f" + b"\xff" * 40)
    assert farthest(read_photo(data), scene()) <= 12


def test_source_may_be_a_path_and_carries_its_name(tmp_path) -> None:
    path = tmp_path / "end 3.png"
    path.write_bytes(encoded(scene(), "PNG"))
    assert read_photo(path).name == "end 3.png"
    assert read_photo(str(path), name="end three").name == "end three"
    assert read_photo(path.read_bytes()).name == "photo"


# ------------------------------------------------------------------------------- no photo at all


def png_of_zeros(width: int, height: int) -> bytes:
    """A black-and-white PNG of any size, small in bytes."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    packer = zlib.compressobj(9)
    row = bytes(1 + (width + 7) // 8)
    body = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("width", "height"), [(20000, 15000), (12000, 10000)])
def test_a_bomb_is_refused_by_its_header(width: int, height: int) -> None:
    assert width * height > MAX_PHOTO_PIXELS
    with pytest.raises(PhotoError, match="more than the 90 megapixels"):
        read_photo(png_of_zeros(width, height), name="bomb.png")


def test_an_empty_file() -> None:
    with pytest.raises(PhotoError, match=r"end\.jpg is empty \(0 bytes\)"):
        read_photo(b"", name="end.jpg")


@pytest.mark.parametrize(
    "data", [b"x", b"dear diary, " * 500, b"GIF89a" + bytes(50), b"%PDF-1.7\n", bytes(1000)]
)
def test_no_photo(data: bytes) -> None:
    with pytest.raises(PhotoError, match=r"notes\.jpg is not a photo that can be read here"):
        read_photo(data, name="notes.jpg")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.98])
def test_a_photo_cut_short_is_refused(kind: str, share: float) -> None:
    noise = np.random.default_rng(7).integers(0, 255, (HEIGHT, WIDTH, 3), np.uint8)
    data = encoded(Image.fromarray(noise), kind)
    with pytest.raises(PhotoError, match="damaged or cut short"):
        read_photo(data[: int(share * len(data))], name="cut")


def test_a_jpeg_is_refused_wherever_it_is_cut() -> None:
    data = encoded(scene(), "JPEG", exif=exif(6, focal=26))
    for length in range(4, len(data) - 60, 97):
        with pytest.raises(PhotoError):
            read_photo(data[:length])


def test_a_progressive_jpeg_cut_between_scans_is_refused() -> None:
    # Each scan ends cleanly, so a decoder could take the coarse picture for the whole.
    data = encoded(scene(), "JPEG", progressive=True)
    starts = [i for i in range(len(data) - 1) if data[i : i + 2] == b"\xff\xda"]
    assert len(starts) > 3
    for start in starts[1:]:
        with pytest.raises(PhotoError, match="cut short"):
            read_photo(data[:start])


def test_random_damage_never_escapes_as_another_error() -> None:
    rng = np.random.default_rng(11)
    whole = {kind: encoded(scene(), kind) for kind in ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")}
    for data in whole.values():
        for _ in range(25):
            spoilt = bytearray(data)
            for at in rng.integers(0, len(data), 20):
                spoilt[at] = int(rng.integers(256))
            with contextlib.suppress(PhotoError):
                assert read_photo(bytes(spoilt)).rgb.ndim == 3


@pytest.mark.parametrize("size", [(199, 400), (400, 199), (1, 1)])
def test_a_thumbnail_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(PhotoError, match=r"only \d+ x \d+ pixels"):
        read_photo(encoded(Image.new("RGB", size), "PNG"))


def test_floating_point_pixels_are_refused() -> None:
    with pytest.raises(PhotoError, match="8 bits"):
        read_photo(encoded(Image.new("F", (300, 300), 0.5), "TIFF"))


def test_a_missing_path_a_folder_and_a_nonsense_path(tmp_path) -> None:
    with pytest.raises(PhotoError, match="There is no file"):
        read_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoError, match="is a folder"):
        read_photo(str(tmp_path))
    with pytest.raises(PhotoError, match="check its name"):
        read_photo("a\0b.jpg")
    with pytest.raises(PhotoError, match="is a folder"):
        read_photo("")


def test_a_file_too_large_is_not_even_read(tmp_path) -> None:
    path = tmp_path / "film.jpg"
    with path.open("wb") as file:
        file.truncate(300_000_000)  # sparse: takes no room on disk
    with pytest.raises(PhotoError, match="300 MB"):
        read_photo(path)


# ------------------------------------------------------------------------------ reduced pictures


@pytest.mark.parametrize("size", [(640, 480), (641, 480), (640, 479)])
@pytest.mark.parametrize("shrink", [1.0, 1.5, 2.0, 3.7, 5.0])
def test_a_reduced_picture_is_the_mean_of_what_it_covers(size, shrink) -> None:
    """Against OpenCV's own reduction; a ramp keeps its places, whichever way it was taken."""
    width, height = size
    ramp = np.add.outer(np.arange(height) * 0.2, np.arange(width) * 0.15)
    rgb = np.repeat(np.rint(ramp).astype(np.uint8)[:, :, None], 3, axis=2)
    small = Photo("ramp", rgb).reduced(shrink)
    expected = (round(width / shrink), round(height / shrink))
    assert small.shape == (expected[1], expected[0], 3)
    direct = cv2.resize(rgb, expected, interpolation=cv2.INTER_AREA)
    assert np.abs(small.astype(int) - direct.astype(int)).max() <= 1


def test_the_half_is_made_once() -> None:
    photo = Photo("grey", np.full((480, 640, 3), 90, np.uint8))
    assert photo.reduced(4.0) is not photo.rgb
    assert photo._half is photo._half
    assert photo.reduced(0.5) is photo.rgb
