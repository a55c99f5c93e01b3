"""Pictures for the demo, drawn on the fly, as a tablet's camera would send them.

Each carries what a camera writes beside the pixels (a place, a remark), so that the demo can see
that none of it is handed on.
"""

import io
from collections.abc import Callable
from uuid import uuid4

from PIL import ExifTags, Image, ImageDraw

WIDTH, HEIGHT = 1600, 1200
SKY, GROUND, TYRE, RIM, GLASS = "#c9d6df", "#8d9091", "#26282a", "#b9bcbf", "#54646f"
DIRT, LIGHT = "#6f5b3f", "#ffffff"
REMARK = b"Fernhollow, bay 2, drawn for the demo"
Pen = ImageDraw.ImageDraw


def car(colour: str, *, dirty: bool) -> bytes:
    """Draw a car from the side, dirty as it came or clean as it leaves."""

    def draw(pen: Pen) -> None:
        pen.polygon([(500, 560), (620, 380), (1050, 380), (1210, 560)], fill=colour)
        pen.polygon([(560, 550), (645, 410), (830, 410), (830, 550)], fill=GLASS)
        pen.polygon([(850, 550), (850, 410), (1030, 410), (1140, 550)], fill=GLASS)
        pen.rounded_rectangle([220, 540, 1400, 830], radius=70, fill=colour)
        for x in (440, 1170):
            wheel(pen, x, 830, 130)
        for step in range(60):
            x, y = 240 + step * 19, 790 - (step * 37) % 120
            if dirty:
                pen.ellipse([x, y, x + 26, y + 18], fill=DIRT)
        if not dirty:
            pen.line([(300, 580), (1320, 580)], fill=LIGHT, width=10)

    return drawn(draw)


def tyre(*, worn: bool) -> bytes:
    """Draw the tread of a tyre from the front, worn down on its inner edge or not."""

    def draw(pen: Pen) -> None:
        pen.rounded_rectangle([500, 120, 1100, 1080], radius=120, fill=TYRE)
        for x in range(560, 1060, 110):
            smooth = worn and x < 760  # noqa: PLR2004  the inner third
            pen.line([(x, 150), (x, 1050)], fill="#3a3d40" if smooth else "#0b0c0d", width=26)
        if worn:
            pen.rectangle([520, 560, 740, 600], fill="#55595d")

    return drawn(draw)


def wheel(pen: Pen, x: int, y: int, radius: int) -> None:
    """Draw a wheel."""
    pen.ellipse([x - radius, y - radius, x + radius, y + radius], fill=TYRE)
    inner = radius * 2 // 3
    pen.ellipse([x - inner, y - inner, x + inner, y + inner], fill=RIM)


def drawn(draw: Callable[[Pen], None]) -> bytes:
    """Return a JPEG with a place and a remark in it."""
    picture = Image.new("RGB", (WIDTH, HEIGHT), SKY)
    pen = ImageDraw.Draw(picture)
    pen.rectangle([0, 860, WIDTH, HEIGHT], fill=GROUND)
    draw(pen)
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = REMARK.decode()
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {ExifTags.GPS.GPSLatitudeRef: "N", ExifTags.GPS.GPSLatitude: (51.0, 30.0, 0.0)}
    )
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=85, exif=exif, comment=REMARK)
    return written.getvalue()


def says_more_than_pixels(jpeg: bytes) -> bool:
    """Return whether a place, a remark or any other metadata is left in a picture."""
    with Image.open(io.BytesIO(jpeg)) as picture:
        return bool(picture.getexif()) or "comment" in picture.info or REMARK in jpeg


def longest_side(jpeg: bytes) -> int:
    """Return the longer side in pixels."""
    with Image.open(io.BytesIO(jpeg)) as picture:
        return max(picture.size)


def form(picture: bytes, **fields: str) -> tuple[bytes, dict[str, str]]:
    """Return a multipart form with the picture as `file`, and the header that goes with it."""
    boundary = uuid4().hex
    parts = [
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = (
        f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="picture.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    body = b"".join([*parts, head.encode(), picture, f"\r\n--{boundary}--\r\n".encode()])
    return body, {"Content-Type": f"multipart/form-data; boundary={boundary}"}
