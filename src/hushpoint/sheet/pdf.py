"""Records to PDF by typst: a layout of ours, the values handed over as data, never as markup.

Layouts stand in `layouts/NAME.typ`, begin with `#import "house.typ": *` and read their values from `values`. Every text
of a layout stands in `say("…")`, which looks it up in the words handed over. The same values give the same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

LAYOUTS = Path(__file__).with_name("layouts")
HOUSE = "house"
_SAID = re.compile(r'\bsay\(\s*"((?:[^"\\]|\\.)*)"')


def pdf(
    layout: str,
    values: Mapping[str, Any],
    *,
    made_at: datetime,
    pictures: Mapping[str, bytes] | None = None,
    archival: bool = False,
    say: Callable[[str], str] = str,
    language: str = "en",
) -> bytes:
    """Return a PDF of `layouts/{layout}.typ` filled with `values` (JSON); `made_at` is its date (aware).

    `pictures` are SVG or PNG files by name, which a layout places with `picture("NAME.svg")`. With `archival` the
    file is PDF/A-2b (ISO 19005-2). `say` returns a text of the layout in the `language` (BCP 47) of whoever reads it;
    the values are in that language already.
    """
    words = {"language": language, "texts": {text: say(text) for text, _ in layout_texts(layout, HOUSE)}}
    return _pages(layout, values, pictures, words, form="pdf", made_at=made_at, archival=archival)[0]


def png_pages(
    layout: str, values: Mapping[str, Any], *, dpi: float = 110, pictures: Mapping[str, bytes] | None = None
) -> list[bytes]:
    """Return the pages of a layout as PNG, for looking at them."""
    return _pages(layout, values, pictures, {"language": "en", "texts": {}}, form="png", dpi=dpi)


def layout_texts(*names: str) -> Iterator[tuple[str, int]]:
    """Yield each text that layouts say, with its line."""
    for name in names:
        source = (LAYOUTS / f"{name}.typ").read_text(encoding="utf-8")
        for found in _SAID.finditer(source):
            yield found[1].replace('\\"', '"'), source.count("\n", 0, found.start()) + 1


def _pages(
    layout: str,
    values: Mapping[str, Any],
    pictures: Mapping[str, bytes] | None,
    words: Mapping[str, Any],
    *,
    form: Literal["pdf", "png"],
    made_at: datetime | None = None,
    dpi: float | None = None,
    archival: bool = False,
) -> list[bytes]:
    import matplotlib as mpl  # its wheel carries DejaVu Sans: typst's own wheel carries no sans
    import typst

    files: dict[str, bytes] = {
        "main.typ": (LAYOUTS / f"{layout}.typ").read_bytes(),
        f"{HOUSE}.typ": (LAYOUTS / f"{HOUSE}.typ").read_bytes(),
        "words.json": json.dumps(words, ensure_ascii=False).encode(),
        "values.json": json.dumps(values, ensure_ascii=False).encode(),
        **(pictures or {}),
    }
    compiled: Any = typst.compile  # its stub leaves out the mapping of files
    made = compiled(
        files,
        font_paths=[Path(mpl.get_data_path()) / "fonts" / "ttf"],
        ignore_system_fonts=True,
        format=form,
        ppi=dpi,
        timestamp=None if made_at is None else int(made_at.timestamp()),
        pdf_standards=["a-2b"] if archival else [],
    )
    return made if isinstance(made, list) else [made]
