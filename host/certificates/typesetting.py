"""Setting a template of our own with its data; the template can read no file and no network."""

import datetime
import json
import tempfile
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any

import typst

from host.certificates.errors import CertificateError


def set_on_paper(
    parts: Sequence[str], data: dict[str, Any], *, standards: Sequence[str], timestamp: datetime.datetime
) -> bytes:
    """PDF of the parts of a template in ``sheet/``, in order; all text arrives as data.

    Raises
    ------
    CertificateError
        If it cannot be set.
    """
    sheet = resources.files("host.certificates").joinpath("sheet")
    template = b"".join(sheet.joinpath(part).read_bytes() for part in parts)
    # The template reads no file; an empty root means that there is none to read.
    with tempfile.TemporaryDirectory(prefix="ohmbath-paper-") as empty_folder:
        try:
            pdf: bytes = typst.compile(  # type: ignore[call-overload]  # its stub ties root to the input
                template,
                root=empty_folder,
                font_paths=_fonts(),
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
                pdf_standards=list(standards),
                package_path=empty_folder,
                package_cache_path=empty_folder,
                timestamp=timestamp,
            )
        except typst.TypstError as error:
            raise CertificateError("certificate", f"cannot be set on paper: {error.message}.") from error
    return pdf


@cache
def _fonts() -> typst.Fonts:
    """Fonts that the setting program brings along, read once; none of the machine's."""
    return typst.Fonts(include_system_fonts=False)
