"""A page as a browser reads it: white space that does not show is gone."""

import re

BLOCKS = "h[1-6]|p|div|section|ul|ol|li|dl|dt|dd|table|thead|tbody|tr|th|td|form|fieldset|details|summary"
BESIDE_A_BLOCK = re.compile(rf"\s*(</?(?:{BLOCKS})\b[^>]*>)\s*")


def tight(page: str) -> str:
    """`page` with every run of white space as one space, and none at the edges of blocks."""
    return BESIDE_A_BLOCK.sub(r"\1", re.sub(r"\s+", " ", page))
