"""From the bytes of an upload to the pictures that are kept: pixels, and nothing else.

Turning a picture upright in the usual way (`ImageOps.exif_transpose`, then saving) keeps where it
was taken and what was written into it. Here the pixels are pasted into a new picture, and only
that is saved.
"""

import hashlib
import io
import threading

import pillow_heif
import structlog
from PIL import Image, ImageCms

from core.problems import InvalidRequest
from jobs.work.models.photographs import SIZES
from jobs.work.services.photographs.stored import Encoded, Upload

log = structlog.get_logger(__name__)

# Pixels in blocks that malloc takes from the system and gives back to it, by Pillow's "block
# allocator"; in its usual blocks of 16 MB the threads' arenas kept 1.8 GB after sixteen uploads of
# 50 megapixels, in these 0.3 GB.
Image.core.set_block_size(64 * 2**20)  # type: ignore[attr-defined]  # not in the stubs
pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)

# By what the bytes are, whatever the file is called; MPO is a JPEG with more pictures behind it.
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")
NAMES = {"MPO": "JPEG", "HEIF": "HEIC"}
MOST_PIXELS = 50_000_000
QUALITY = {320: 80, 1280: 85}
ORIENTATION = 0x0112  # the tag's number in Exif 2.3
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
ON_THEIR_SIDE = frozenset({5, 6, 7, 8})
SIXTEEN_BITS = 256  # levels of a 16-bit grey that make one of an 8-bit grey
WHITE = (255, 255, 255)
# A picture of 50 megapixels takes 250 to 800 MB while it is decoded, by its format and whether it
# has transparency; so many at once, whatever the number of web threads.
_ROOM = threading.BoundedSemaphore(2)
_TO_SRGB = ImageCms.createProfile("sRGB")


def read_upload(content: bytes) -> Upload:
    """Decode an upload and return what is to be kept of it.

    Raises InvalidRequest naming `file` where it is no whole picture of a format taken here.
    """
    with _ROOM:
        try:
            upright, kind, size = _upright(content)
        except InvalidRequest:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise _too_many_pixels() from error
        except Exception as error:
            # Decoders raise whatever they like over bytes that are damaged or hostile.
            log.info("picture_refused", reason=type(error).__name__)
            raise _refused(
                "This is no whole picture of a kind taken here (JPEG, PNG, WebP, HEIC).",
                "Open the file to see whether it is whole, and send it again or as a JPEG.",
            ) from error
        return Upload(
            format=kind,
            sha256=hashlib.sha256(content).hexdigest(),
            width=size[0],
            height=size[1],
            renditions={longest: encode(_fit(upright, longest), longest) for longest in SIZES},
        )


def encode(image: Image.Image, longest: int) -> Encoded:
    """Return an RGB picture as the JPEG that is stored for this size."""
    clean = Image.new("RGB", image.size)
    clean.paste(image)
    file = io.BytesIO()
    clean.save(file, "JPEG", quality=QUALITY[longest], optimize=True, progressive=True)
    return Encoded(file.getvalue(), *clean.size)


def _upright(content: bytes) -> tuple[Image.Image, str, tuple[int, int]]:
    """Return the picture in sRGB at the largest size kept, its format, and its full size."""
    with Image.open(io.BytesIO(content), formats=FORMATS) as image:
        if image.width * image.height > MOST_PIXELS:
            raise _too_many_pixels()
        kind = NAMES.get(image.format or "", image.format or "")
        width, height = image.size
        turned = _orientation(image)
        if kind == "JPEG":  # which can be decoded at a half, a quarter or an eighth
            image.draft(None, _size_within(image.size, max(SIZES)))
        small = _fit(_mixable(image), max(SIZES))
        flat = _in_srgb(small, image.info.get("icc_profile"))
    if turned in TURNS:
        flat = flat.transpose(TURNS[turned])
    return flat, kind, (height, width) if turned in ON_THEIR_SIDE else (width, height)


def _orientation(image: Image.Image) -> object:
    """Return Exif's orientation, 1 to 8; a picture that tells none lies as it should."""
    try:
        return image.getexif().get(ORIENTATION)
    except Exception as error:  # noqa: BLE001  damaged Exif is no reason to lose the picture
        log.info("exif_unread", reason=type(error).__name__)
        return None


def _mixable(image: Image.Image) -> Image.Image:
    """Return the pixels in a mode in which they can be mixed."""
    image.load()
    if image.mode.startswith("I") or image.mode == "F":  # grey of 16 bits, in a PNG
        return image.convert("I").point(lambda level: level / SIXTEEN_BITS).convert("L")
    if image.has_transparency_data:
        clear = image if image.mode == "RGBA" else image.convert("RGBA")
        return clear.convert("RGBa")  # colours by their share, as they have to be mixed
    return image if image.mode in {"L", "RGB", "CMYK"} else image.convert("RGB")


def _in_srgb(small: Image.Image, profile: bytes | None) -> Image.Image:
    """Return the picture in sRGB, flattened on white; a profile that cannot be used is ignored."""
    alpha, colours = None, small
    if small.mode == "RGBa":
        clear = small.convert("RGBA")
        alpha, colours = clear.getchannel("A"), clear.convert("RGB")
    if profile:
        try:
            embedded = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            made = ImageCms.profileToProfile(colours, embedded, _TO_SRGB, outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as error:
            # A profile for other channels than the picture has, or no profile at all.
            log.info("colour_profile_unread", reason=type(error).__name__)
        else:
            colours = made or colours
    flat = Image.new("RGB", small.size, WHITE)
    flat.paste(colours.convert("RGB"), mask=alpha)
    return flat


def _fit(image: Image.Image, longest: int) -> Image.Image:
    """Return the picture with its longest side at most so many pixels; it is never enlarged."""
    size = _size_within(image.size, longest)
    if size == image.size:
        return image
    return image.resize(size, Image.Resampling.LANCZOS, reducing_gap=3.0)


def _size_within(size: tuple[int, int], longest: int) -> tuple[int, int]:
    """Return the size, made smaller in proportion where it is over the longest side."""
    scale = min(1.0, longest / max(size))
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def _too_many_pixels() -> InvalidRequest:
    return _refused(
        f"The picture has more than {MOST_PIXELS // 1_000_000} megapixels.",
        "Send it smaller; 2 megapixels show all that is kept.",
    )


def _refused(sentence: str, next_step: str) -> InvalidRequest:
    return InvalidRequest(
        sentence, next_step=next_step, errors=[{"field": "file", "message": sentence}]
    )
