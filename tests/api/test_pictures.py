"""What becomes of the bytes of an upload: which are taken, how they look, what is left out."""

import io
import random
import struct
import zipfile
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image, ImageChops, ImageFile, ImageOps, ImageStat

from core.problems import InvalidRequest
from jobs.work.services.photographs.pairs import side_by_side
from jobs.work.services.photographs.pictures import read_upload
from jobs.work.services.photographs.stored import Upload
from tests.api import planted
from tests.api.pictures import decoded, drawn, encoded

KINDS = {"JPEG": "JPEG", "PNG": "PNG", "WEBP": "WEBP", "HEIF": "HEIC"}


def shown(upload: Upload, size: int = 1280) -> Image.Image:
    """Return the pixels of a rendition."""
    return decoded(upload.renditions[size].content)


def difference(first: Image.Image, second: Image.Image) -> float:
    """Return how far two pictures are apart: the mean of all channels, 0 to 255."""
    assert first.size == second.size
    means = ImageStat.Stat(ImageChops.difference(first.convert("RGB"), second.convert("RGB"))).mean
    return sum(means) / len(means)


def refusal(content: bytes) -> InvalidRequest:
    """Return the problem that an upload is refused with."""
    with pytest.raises(InvalidRequest) as caught:
        read_upload(content)
    problem = caught.value
    assert [error["field"] for error in problem.errors] == ["file"]
    assert problem.next_step.endswith(".")
    return problem


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_is_told_by_what_it_is(kind: str) -> None:
    image = drawn((1600, 1200))
    upload = read_upload(encoded(image, kind))
    assert (upload.format, upload.width, upload.height) == (KINDS[kind], 1600, 1200)
    sizes = {
        size: (rendition.width, rendition.height) for size, rendition in upload.renditions.items()
    }
    assert sizes == {320: (320, 240), 1280: (1280, 960)}
    for size, rendition in upload.renditions.items():
        assert rendition.content[:3] == b"\xff\xd8\xff"
        small = image.resize((rendition.width, rendition.height), Image.Resampling.LANCZOS)
        assert difference(shown(upload, size), small) < 3


def test_a_small_picture_is_not_enlarged() -> None:
    upload = read_upload(encoded(drawn((200, 100))))
    assert {(rendition.width, rendition.height) for rendition in upload.renditions.values()} == {
        (200, 100)
    }


@pytest.mark.parametrize("size", [(1, 1), (3000, 1), (1, 3000), (1281, 1280)])
def test_the_longest_side_is_kept_to_whatever_the_shape(size: tuple[int, int]) -> None:
    for longest, rendition in read_upload(
        encoded(Image.new("RGB", size), "PNG")
    ).renditions.items():
        assert max(rendition.width, rendition.height) == min(max(size), longest)
        assert min(rendition.width, rendition.height) >= 1


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_turned_upright(kind: str, orientation: int) -> None:
    content = encoded(drawn((400, 300)), kind, exif=planted.exif(orientation))
    # Pillow's own turning is the witness.
    upright = ImageOps.exif_transpose(decoded(content))
    upload = read_upload(content)
    assert (upload.width, upload.height) == upright.size
    assert difference(shown(upload), upright) < 3


def test_a_turned_heic_is_turned_once() -> None:
    content = encoded(drawn((400, 300)), "HEIF", exif=planted.exif(6), quality=90)
    upload = read_upload(content)
    assert (upload.width, upload.height) == (300, 400)
    assert difference(shown(upload), drawn((400, 300)).transpose(Image.Transpose.ROTATE_270)) < 4


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_is_none_turns_nothing(orientation: int) -> None:
    upload = read_upload(planted.jpeg(orientation))
    assert (upload.width, upload.height) == (400, 300)


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")  # as in service
def test_damaged_exif_costs_the_turning_and_not_the_picture() -> None:
    good = encoded(exif=planted.exif(6))
    for cut in (b"II*\0", b"\x08\0\0\0"):
        at = good.index(cut, 6)
        bad = good[:at] + b"\xff" * 4 + good[at + 4 :]
        assert read_upload(bad).renditions[320].width in {240, 320}


@pytest.mark.parametrize("make", [planted.jpeg, planted.png, planted.webp, planted.heic])
def test_nothing_but_pixels_is_left(make: Callable[[], bytes]) -> None:
    content = make()
    assert {"icc_profile", "place"} <= planted.said(content)  # it was there
    for rendition in read_upload(content).renditions.values():
        planted.assert_bare(rendition.content)
        assert planted.said(rendition.content) <= {"progression", "progressive"}


def test_the_usual_way_would_have_kept_the_place_and_the_comment() -> None:
    with Image.open(io.BytesIO(planted.jpeg(6))) as image:
        turned = ImageOps.exif_transpose(image)
        assert turned.getexif().get_ifd(0x8825)
        assert planted.MARK + b"-gps" in turned.info["exif"]
        kept = encoded(turned, exif=turned.info["exif"])
    assert planted.MARK + b"-comment" in kept
    assert planted.MARK + b"-gps" in kept
    with pytest.raises(AssertionError):
        planted.assert_bare(kept)


@pytest.mark.parametrize("word", ["comment", "thumbnail", "gps", "maker-notes", "xmp", "iptc"])
def test_the_planted_picture_holds_what_is_looked_for(word: str) -> None:
    assert planted.MARK + b"-" + word.encode() in planted.jpeg()


@pytest.mark.parametrize("kind", KINDS)
def test_a_colour_profile_is_applied_and_left_out(kind: str) -> None:
    red = Image.new("RGB", (64, 64), (255, 0, 0))
    options: Any = {"quality": 95} if kind != "PNG" else {}
    content = encoded(red, kind, icc_profile=planted.profile(), **options)
    r, g, b = shown(read_upload(content)).getpixel((32, 32))  # type: ignore[misc]  # a tuple
    assert (g > 240, max(r, b) < 40) == (True, True)  # its red is our green


@pytest.mark.parametrize("bad", [b"no profile at all", planted.profile()[:200]])
def test_a_profile_that_cannot_be_used_is_ignored(bad: bytes) -> None:
    red = Image.new("RGB", (64, 64), (255, 0, 0))
    r, g, _ = shown(read_upload(encoded(red, icc_profile=bad))).getpixel((32, 32))  # type: ignore[misc]  # a tuple
    assert (r > 240, g < 20) == (True, True)


def test_a_profile_for_other_channels_is_ignored() -> None:
    grey = Image.new("L", (64, 64), 128)
    upload = read_upload(encoded(grey, icc_profile=planted.profile()))
    assert shown(upload).getpixel((32, 32)) == (128, 128, 128)


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "PA"])
def test_what_is_transparent_becomes_white(mode: str) -> None:
    clear = Image.new("RGBA", (40, 20), (255, 0, 0, 0))
    clear.paste((0, 0, 0, 255), (20, 0, 40, 20))
    image = clear.convert("LA") if mode in {"LA", "PA"} else clear
    if mode == "P":
        image = clear.quantize(8)
    content = encoded(image, "PNG")
    picture = shown(read_upload(content))
    assert min(picture.getpixel((5, 10))) > 245  # type: ignore[arg-type]  # a tuple
    assert max(picture.getpixel((35, 10))) < 10  # type: ignore[arg-type]  # a tuple


@pytest.mark.parametrize(
    ("mode", "kind"),
    [("1", "PNG"), ("L", "PNG"), ("P", "PNG"), ("L", "JPEG"), ("CMYK", "JPEG")],
)
def test_every_mode_of_colour_is_shown_as_it_is(mode: str, kind: str) -> None:
    image = drawn((300, 200)).quantize(16) if mode == "P" else drawn((300, 200)).convert(mode)
    assert difference(shown(read_upload(encoded(image, kind))), image) < 8


def test_a_grey_of_sixteen_bits_keeps_its_levels() -> None:
    image = Image.new("I;16", (4, 1))
    for column, level in enumerate((0, 0x4000, 0x8000, 0xFFFF)):
        image.putpixel((column, 0), level)
    large = image.resize((400, 100), Image.Resampling.NEAREST)
    picture = shown(read_upload(encoded(large, "PNG")))
    levels = [picture.getpixel((column, 50))[0] for column in (50, 150, 250, 350)]  # type: ignore[index]
    assert levels == pytest.approx([0, 64, 128, 255], abs=2)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_of_a_moving_picture_the_first_is_kept(kind: str) -> None:
    frames = [drawn(), drawn(colour=(0, 0, 250))]
    content = encoded(frames[0], kind, save_all=True, append_images=frames[1:], duration=100)
    assert difference(shown(read_upload(content)), frames[0]) < 4


def test_a_jpeg_with_more_pictures_behind_it_is_a_jpeg() -> None:
    frames = [drawn(), drawn((200, 150), (0, 0, 250))]
    content = encoded(frames[0], "MPO", save_all=True, append_images=frames[1:])
    upload = read_upload(content)
    assert upload.format == "JPEG"
    assert difference(shown(upload), frames[0]) < 4
    planted.assert_bare(upload.renditions[1280].content)


def zipped() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("photo.jpg", encoded())
    return file.getvalue()


def png_of(width: int, height: int, body: bytes = b"", extra: bytes = b"") -> bytes:
    """Return a PNG that claims this size, with little or nothing behind it."""

    def chunk(name: bytes, data: bytes) -> bytes:
        checked = name + data
        return struct.pack(">I", len(data)) + checked + struct.pack(">I", zlib.crc32(checked))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = [(b"IHDR", header), (b"IDAT", zlib.compress(body)), (b"IEND", b"")]
    start = b"\x89PNG\r\n\x1a\n" + chunk(*parts[0])
    return start + extra + b"".join(chunk(*part) for part in parts[1:])


def text_bomb() -> bytes:
    """Return a PNG whose text takes 300 MB once it is decompressed."""
    made = zlib.compressobj(9)
    packed = b"".join(made.compress(bytes(2**20)) for _ in range(300)) + made.flush()
    data = b"zTXtComment\0\0" + packed
    chunk = struct.pack(">I", len(data) - 4) + data + struct.pack(">I", zlib.crc32(data))
    return png_of(10, 10, bytes(310), chunk)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\0",
        b"not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>",
        b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<html><script>alert(1)</script></html>",
        b"%PDF-1.7\n",
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
        zipped(),
        encoded(kind="GIF"),
        encoded(kind="BMP"),
        encoded(kind="TIFF"),
        encoded(kind="PPM"),
        encoded()[:2],
        png_of(10, 10),
        png_of(0, 10),
        text_bomb(),
    ],
    ids=range(17),
)
def test_what_is_no_picture_of_a_kind_taken_is_refused(content: bytes) -> None:
    assert "JPEG, PNG, WebP, HEIC" in refusal(content).detail


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
@pytest.mark.parametrize("kind", KINDS)
def test_a_truncated_picture_is_refused(kind: str, share: float) -> None:
    content = encoded(drawn((900, 700)), kind)
    assert refusal(content[: int(len(content) * share)]).detail.startswith(
        "This is no whole picture"
    )


def huge_jpeg() -> bytes:
    """Return a JPEG whose header claims 65,500 by 65,500."""
    content = encoded()
    at = content.index(b"\xff\xc0") + 5
    return content[:at] + struct.pack(">HH", 65_500, 65_500) + content[at + 4 :]


@pytest.mark.parametrize(
    "content",
    [png_of(40_000, 40_000), png_of(10_000, 9_000), png_of(5_001, 10_000), huge_jpeg()],
    ids=["1,600 MP", "90 MP", "50.01 MP", "a JPEG"],
)
def test_too_many_pixels_are_refused_before_any_is_decoded(
    monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    def load(_: Any) -> None:
        raise AssertionError

    monkeypatch.setattr(ImageFile.ImageFile, "load", load)
    assert "50 megapixels" in refusal(content).detail


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_too_many_pixels_are_refused_where_pillow_only_warns() -> None:
    assert "50 megapixels" in refusal(png_of(10_000, 9_000)).detail


def test_as_many_pixels_as_are_taken_are_taken() -> None:
    image = Image.new("L", (10_000, 5_000), 90)
    upload = read_upload(encoded(image, "PNG", compress_level=1))
    assert (upload.width, upload.renditions[1280].width) == (10_000, 1280)


@pytest.mark.filterwarnings("ignore")  # as in service: damage makes Pillow warn as well
@pytest.mark.parametrize("make", [planted.jpeg, planted.png, planted.webp, planted.heic])
def test_damage_anywhere_is_a_refusal_or_a_picture(make: Callable[[], bytes]) -> None:
    chance, whole = random.Random(11), make()
    outcomes = {"taken": 0, "refused": 0}
    for _ in range(120):
        content = bytearray(whole)
        for _ in range(chance.choice((1, 3, 30))):
            # Half of the damage in the first bytes, where the structure stands.
            end = len(content) if chance.random() < 0.5 else 400
            content[chance.randrange(end)] = chance.randrange(256)
        try:
            upload = read_upload(bytes(content))
        except InvalidRequest:
            outcomes["refused"] += 1
        else:
            outcomes["taken"] += 1
            for rendition in upload.renditions.values():
                planted.assert_bare(rendition.content)
    assert outcomes["refused"] > 5


@pytest.mark.parametrize("longest", [320, 1280])
@pytest.mark.parametrize(
    ("left", "right"),
    [((1280, 960), (1280, 960)), ((960, 1280), (960, 1280)), ((960, 1280), (1280, 720))],
)
def test_a_pair_stands_side_by_side_at_one_height(
    left: tuple[int, int], right: tuple[int, int], longest: int
) -> None:
    before = encoded(Image.new("RGB", left, (200, 0, 0)))
    after = encoded(Image.new("RGB", right, (0, 0, 200)))
    pair = side_by_side(before, after, longest)
    planted.assert_bare(pair.content)
    assert longest * 0.95 < max(pair.width, pair.height) <= longest
    picture = decoded(pair.content)
    bottom = pair.height - 3
    r, _, b = picture.getpixel((3, bottom))  # type: ignore[misc]  # a tuple
    assert (r > 150, b < 50) == (True, True)
    r, _, b = picture.getpixel((pair.width - 3, bottom))  # type: ignore[misc]  # a tuple
    assert (b > 150, r < 50) == (True, True)
    # The words: white on the strip above, in either half, and none of it on the pictures.
    strip = max(20, longest // 30)
    for half in ((0, pair.width // 3), (pair.width * 2 // 3 - 1, pair.width)):
        above = picture.crop((half[0], 0, half[1], strip)).convert("L")
        assert above.getextrema()[0] < 60  # type: ignore[operator]  # of one channel
    words = picture.crop((0, 0, pair.width, strip)).convert("L")
    assert words.getextrema()[1] > 200  # type: ignore[operator]  # of one channel


def test_a_pair_enlarges_neither() -> None:
    small = encoded(Image.new("RGB", (100, 80), (200, 0, 0)))
    pair = side_by_side(small, encoded(drawn((1280, 960))), 1280)
    assert pair.height <= 80 + 42
