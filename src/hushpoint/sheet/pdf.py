"""Records to PDF by typst: a layout of ours, the values handed over as data, never as markup.

Layouts stand in `layouts/NAME.typ`, begin with `#import "house.typ": *` and read their values from `values`. The same
values give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

_LAYOUTS = Path(__file__).with_name("layouts")


def pdf(
    layout: str,
    values: Mapping[str, Any],
    *,
    made_at: datetime,
    pictures: Mapping[str, bytes] | None = None,
    archival: bool = False,
) -> bytes:
    """Return a PDF of `layouts/{layout}.typ` filled with `values` (JSON); `made_at` is its date (aware).

    `pictures` are SVG or PNG files by name, which a layout places with `picture("NAME.svg")`. With `archival` the
    file is PDF/A-2b (ISO 19005-2).
    """
    return _pages(layout, values, pictures, form="pdf", made_at=made_at, archival=archival)[0]


def png_pages(
    layout: str, values: Mapping[str, Any], *, dpi: float = 110, pictures: Mapping[str, bytes] | None = None
) -> list[bytes]:
    """Return the pages of a layout as PNG, for looking at them."""
    return _pages(layout, values, pictures, form="png", dpi=dpi)


def _pages(
    layout: str,
    values: Mapping[str, Any],
    pictures: Mapping[str, bytes] | None,
    *,
    form: Literal["pdf", "png"],
    made_at: datetime | None = None,
    dpi: float | None = None,
    archival: bool = False,
) -> list[bytes]:
    import matplotlib as mpl  # its wheel carries DejaVu Sans: typst's own wheel carries no sans
    import typst

    files: dict[str, bytes] = {
        "main.typ": (_LAYOUTS / f"{layout}.typ").read_bytes(),
        "house.typ": (_LAYOUTS / "house.typ").read_bytes(),
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
