"""A before and an after as one picture: side by side, equally high, each under its word."""

import io

from PIL import Image, ImageDraw, ImageFont

from jobs.work.services.photographs.pictures import encode
from jobs.work.services.photographs.stored import Encoded

GAP_SHARE = 160  # of the longest side, the gap is one part in so many
STRIP_SHARE = 30  # and the strip with the words
LEAST_STRIP = 20  # pixels; below it the words could not be read
TEXT_SHARE = 0.75  # of the strip's height
STRIP_COLOUR = (38, 38, 38)
TEXT_COLOUR = (255, 255, 255)
WORDS = ("before", "after")


def side_by_side(before: bytes, after: bytes, longest: int) -> Encoded:
    """Return the two stored pictures as one whose longest side is at most so many pixels.

    The words stand on a strip above the pictures, so that they hide nothing. Neither picture is
    enlarged.
    """
    pictures = [Image.open(io.BytesIO(content)).convert("RGB") for content in (before, after)]
    gap, strip = max(2, longest // GAP_SHARE), max(LEAST_STRIP, longest // STRIP_SHARE)
    shapes = [picture.width / picture.height for picture in pictures]
    height = max(
        1,
        min(
            *(picture.height for picture in pictures),
            longest - strip,
            int((longest - gap) / sum(shapes)),
        ),
    )
    widths = [max(1, int(height * shape)) for shape in shapes]
    whole = Image.new("RGB", (sum(widths) + gap, height + strip), STRIP_COLOUR)
    pen = ImageDraw.Draw(whole)
    font = ImageFont.load_default(size=int(strip * TEXT_SHARE))
    left = 0
    for picture, width, word in zip(pictures, widths, WORDS, strict=True):
        whole.paste(picture.resize((width, height), Image.Resampling.LANCZOS), (left, strip))
        pen.text((left + gap, strip // 2), word, fill=TEXT_COLOUR, font=font, anchor="lm")
        left += width + gap
    return encode(whole, longest)
