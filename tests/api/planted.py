"""Pictures with everything in them that must not be kept, and a reader of JPEG that finds it.

The layouts are those of the published formats: Exif 2.3 (JEITA CP-3451) in a TIFF 6.0 structure,
the segments of ITU-T T.81, XMP part 3, the Photoshop resource that holds IPTC. From memory.
"""

import io
import struct
from collections.abc import Iterator

from PIL import Image, ImageCms, PngImagePlugin

from tests.api.pictures import drawn, encoded

MARK = b"PLANTED"
SOI, EOI, SOS, COM, APP0, APP1, APP2, APP13 = 0xD8, 0xD9, 0xDA, 0xFE, 0xE0, 0xE1, 0xE2, 0xED
DQT, DHT, DRI = 0xDB, 0xC4, 0xDD
BARE = frozenset({APP0, DQT, DHT, DRI, 0xC0, 0xC1, 0xC2, SOS, EOI})
SHORT, LONG, ASCII, RATIONAL, UNDEFINED = 3, 4, 2, 5, 7
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf>' + MARK + b"-xmp</rdf></x:xmpmeta>"


def exif(orientation: int = 1) -> bytes:
    """Return Exif with a maker, maker notes, a place and a thumbnail, each marked."""
    thumbnail = encoded(drawn((64, 48)), comment=MARK + b"-thumbnail")
    degrees = struct.pack("<6I", 51, 1, 30, 1, 0, 1)
    place = [
        (1, ASCII, 2, b"N\0"),
        (2, RATIONAL, 3, degrees),
        (3, ASCII, 2, b"W\0"),
        (4, RATIONAL, 3, degrees),
        (27, UNDEFINED, 11, MARK + b"-gps"),
    ]
    notes = [(0x927C, UNDEFINED, 19, MARK + b"-maker-notes")]
    first = [
        (0x010F, ASCII, 13, MARK + b"-make\0"),
        (0x0112, SHORT, 1, struct.pack("<H", orientation)),
    ]
    # Two passes: the offsets of what follows are known once the first directory was laid out.
    offsets = [0, 0, 0]
    for _ in range(2):
        pointers = [(0x8769, LONG, 1, _long(offsets[0])), (0x8825, LONG, 1, _long(offsets[1]))]
        head = _directory([*first, *pointers], 8, following=offsets[2])
        offsets[0] = 8 + len(head)
        sub = _directory(notes, offsets[0])
        offsets[1] = offsets[0] + len(sub)
        gps = _directory(place, offsets[1])
        offsets[2] = offsets[1] + len(gps)
        small = [(0x0103, SHORT, 1, struct.pack("<H", 6)), (0x0201, LONG, 1, _long(0))]
        small += [(0x0202, LONG, 1, _long(len(thumbnail)))]
        at = offsets[2] + len(_directory(small, offsets[2]))
        small[1] = (0x0201, LONG, 1, _long(at))
        last = _directory(small, offsets[2])
    return b"Exif\0\0II*\0" + _long(8) + head + sub + gps + last + thumbnail


def _long(number: int) -> bytes:
    return struct.pack("<I", number)


def _directory(
    entries: list[tuple[int, int, int, bytes]], start: int, *, following: int = 0
) -> bytes:
    """Return a TIFF directory that will lie at `start`, its longer values behind it."""
    table, values = b"", b""
    behind = start + 2 + 12 * len(entries) + 4
    for tag, kind, count, value in entries:
        table += struct.pack("<HHI", tag, kind, count)
        if len(value) <= 4:
            table += value.ljust(4, b"\0")
        else:
            table += _long(behind + len(values))
            values += value + b"\0" * (len(value) % 2)
    return struct.pack("<H", len(entries)) + table + _long(following) + values


def profile() -> bytes:
    """Return an sRGB profile whose red and green are exchanged, with the mark at its end."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for tag, replacement in ((b"rXYZ", b"----"), (b"gXYZ", b"rXYZ"), (b"----", b"gXYZ")):
        made = made.replace(tag, replacement)
    return made


def jpeg(orientation: int = 1, image: Image.Image | None = None) -> bytes:
    """Return a JPEG with Exif, XMP, IPTC, a comment, a profile, and bytes behind its end."""
    plain = encoded(image, quality=95, icc_profile=profile())
    iptc = b"\x1c\x02\x78\x00\x0c" + MARK + b"-iptc"
    resource = b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0" + struct.pack(">I", len(iptc)) + iptc
    planted = [
        (APP1, exif(orientation)),
        (APP1, b"http://ns.adobe.com/xap/1.0/\0" + XMP),
        (APP2, b"FPXR\0" + MARK + b"-more"),
        (0xEC, MARK + b"-app12"),
        (APP13, resource),
        (COM, MARK + b"-comment"),
    ]
    return (
        plain[:2]
        + b"".join(_segment(*segment) for segment in planted)
        + plain[2:]
        + MARK
        + b"-tail"
    )


def _segment(marker: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(payload) + 2) + payload


def png() -> bytes:
    """Return a PNG with Exif, a profile, and each kind of text."""
    metadata = PngImagePlugin.PngInfo()
    metadata.add_text("Comment", "PLANTED-text")
    metadata.add_text("Author", "PLANTED-ztxt" * 20, zip=True)
    metadata.add_itxt("XML:com.adobe.xmp", XMP.decode())
    return encoded(None, "PNG", pnginfo=metadata, exif=exif(), icc_profile=profile())


def webp() -> bytes:
    """Return a WebP with Exif, XMP and a profile."""
    return encoded(None, "WEBP", quality=95, exif=exif(), xmp=XMP, icc_profile=profile())


def heic() -> bytes:
    """Return a HEIC with Exif, XMP and a profile."""
    return encoded(None, "HEIF", quality=90, exif=exif(), xmp=XMP, icc_profile=profile())


def segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield marker and payload of every segment of a JPEG, over its compressed data to the end."""
    assert content[:2] == bytes([0xFF, SOI])
    at = 2
    while True:
        assert content[at] == 0xFF, f"no marker at {at}"
        marker = content[at + 1]
        if marker == EOI:
            yield marker, content[at + 2 :]
            return
        length = int.from_bytes(content[at + 2 : at + 4], "big")
        yield marker, content[at + 4 : at + 2 + length]
        at += 2 + length
        if marker == SOS:
            while content[at] != 0xFF or content[at + 1] in {0x00, *range(0xD0, 0xD8)}:
                at += 1


def assert_bare(content: bytes) -> None:
    """Hold a stored JPEG against what it may have: its pixels and the tables to decode them."""
    found = list(segments(content))
    assert {marker for marker, _ in found} <= BARE
    (header,) = (payload for marker, payload in found if marker == APP0)
    assert header[:5] == b"JFIF\0"
    assert header[12:] == b"\0\0"  # no thumbnail
    assert found[-1] == (EOI, b"")
    for word in (MARK, b"Exif", b"ns.adobe.com", b"ICC_PROFILE", b"8BIM", b"JFXX", b"Photoshop"):
        assert word not in content


def said(content: bytes) -> set[str]:
    """Return the names of what Pillow finds in a picture beside its pixels."""
    with Image.open(io.BytesIO(content)) as image:
        image.load()
        exif_found = image.getexif()
        names = {str(name) for name in image.info if not str(name).startswith("jfif")}
        return names | ({"place"} if exif_found.get_ifd(0x8825) else set())
