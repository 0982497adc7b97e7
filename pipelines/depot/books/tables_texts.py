"""The tables of the books about texts and files that are kept out, and about how a delivery was packed.

Beside ``tables``, and part of the same form.
"""

from __future__ import annotations

import sqlalchemy as sa

from pipelines.depot.books.tables import META, of_delivery, text_column

#: Files that came with a delivery and are not kept, since they are of no kind that the depot keeps.
LEFT_OUT = sa.Table(
    "left_out",
    META,
    of_delivery(),
    text_column("path", key=True),
    text_column("sha256"),
    sa.Column("bytes", sa.BigInteger, nullable=False),
)

#: How a delivery was packed, as far as it was noted; the bag the depot puts together tells nothing of it.
PACKING_NOTES = sa.Table(
    "packing_notes",
    META,
    of_delivery(),
    sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
    text_column("seen"),
    text_column("expected"),
)

#: With which study file, code and kit a delivery says it was packed: fields of its bag-info.txt, as far as kept.
PACKED_WITH = sa.Table("packed_with", META, of_delivery(), text_column("field", key=True), text_column("value"))

#: What a person decided on texts. word: the text as a keyed hash.
TEXTS = sa.Table(
    "texts",
    META,
    text_column("word", key=True),
    sa.Column("allowed", sa.Boolean, nullable=False),
    text_column("why"),
    text_column("by"),
    text_column("utc"),
)

#: Texts of a delivery that needed a person, and what was decided when the delivery was judged: empty if nothing yet.
DELIVERY_TEXTS = sa.Table(
    "delivery_texts",
    META,
    of_delivery(),
    text_column("word", key=True),
    text_column("decided"),
    sa.Index(None, "word", "decided"),
)
