"""Pictures for the tests, drawn by themselves, and uploads of them."""

import io
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import encode_multipart
from PIL import Image, ImageDraw

from core.ids import new_id
from tests.api.forms import Form
from tests.scene import Api

BOUNDARY = "shutline-tests-boundary"
GREY = (128, 128, 128)


def drawn(
    size: tuple[int, int] = (400, 300), colour: Any = (150, 30, 40), mode: str = "RGB"
) -> Image.Image:
    """Return a picture that is not the same whichever way it is turned."""
    image = Image.new("RGB", size, GREY)
    pen = ImageDraw.Draw(image)
    width, height = size
    pen.rectangle((0, 0, width // 2, height // 4), fill=colour)
    pen.ellipse((width // 2, height // 2, width - 2, height - 2), fill=(20, 160, 60))
    return image.convert(mode)


def encoded(image: Image.Image | None = None, kind: str = "JPEG", **options: Any) -> bytes:
    """Return the picture as a file of this kind."""
    file = io.BytesIO()
    (image or drawn()).save(file, kind, **options)
    return file.getvalue()


def decoded(content: bytes) -> Image.Image:
    """Return the pixels of a file."""
    with Image.open(io.BytesIO(content)) as image:
        image.load()
        return image


def form(content: bytes | None = None, name: str = "photo.jpg", **fields: Any) -> Form:
    """Return an upload that is right as it stands, with changes; None leaves a field out."""
    file = SimpleUploadedFile(name, encoded() if content is None else content)
    values = {"file": file, "client_id": str(new_id()), "moment": "detail", **fields}
    sent = {field: value for field, value in values.items() if value is not None}
    body = encode_multipart(BOUNDARY, sent)
    return Form(body, f"multipart/form-data; boundary={BOUNDARY}")


def upload(
    api: Api, job: Any, content: bytes | None = None, headers: Any = None, **fields: Any
) -> Any:
    """Upload a photograph and return the answer."""
    sent = form(content, **fields)
    return api.post(
        f"/jobs/{job['id']}/photos",
        sent.content,
        {**(headers or {}), "Content-Type": sent.content_type},
    )


def fetch(api: Api, address: str, **headers: str) -> Any:
    """Follow a link as this caller."""
    return api.get(address.partition("/api/v1")[2], **headers)
