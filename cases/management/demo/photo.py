"""A drawing in place of a photo: nothing of a real mouth is in the demo."""

import io

from PIL import Image, ImageDraw

__all__ = ["drawn_photo"]

SIZE = (960, 640)
_PAPER, _INK, _TOOTH, _CUT = "#f3efe6", "#33302b", "#fffdf7", "#d9d2c3"


def drawn_photo() -> bytes:
    """Return a PNG: a prepared molar between neighbours, a strip over one cusp."""
    image = Image.new("RGB", SIZE, _PAPER)
    draw = ImageDraw.Draw(image)
    for left, top, fill in ((60, 200, _TOOTH), (690, 210, _TOOTH), (380, 300, _CUT)):
        box = (left, top, left + 210, 520)
        draw.rounded_rectangle(box, radius=46, fill=fill, outline=_INK, width=5)
    # The antagonist above, and the strip held between the two.
    draw.rounded_rectangle((360, 40, 610, 262), 60, fill=_TOOTH, outline=_INK, width=5)
    draw.line((330, 284, 640, 276), fill=_INK, width=9)
    draw.text((330, 560), "INVENTED DRAWING - strip held here", fill=_INK, font_size=26)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
