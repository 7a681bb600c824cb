"""Puts the shop's seal on a paper: a signature over the whole file that any reader of PDF files shows."""

import datetime
import io

from cryptography.hazmat.primitives import serialization

from host.seal.container import ROOM, container, signed_part
from host.seal.errors import SealError
from host.seal.key_ring import SigningKey

#: Name of the signature's field in the file.
FIELD = "Seal"


def sealed(pdf: bytes, key: SigningKey, *, shop: str, at: datetime.datetime) -> bytes:
    """A paper with its seal; its first bytes are the paper as it was.

    Parameters
    ----------
    pdf : bytes
        Paper without a seal.
    key : SigningKey
    shop : str
        Who seals, as a reader shows it.
    at : datetime
        When, by the desk's own clock: no other clock vouches for it.

    Raises
    ------
    SealError
        If the paper cannot be sealed, or the key is damaged.
    """
    # Late: most of what a desk does needs no library for signatures.
    from pyhanko.pdf_utils.generic import TextStringObject, pdf_name
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.sign.fields import SigSeedSubFilter
    from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigObjSetup
    from pyhanko.sign.signers.pdf_byterange import PdfSignedData

    class PaperKeeper(IncrementalPdfFileWriter):
        """Adds the seal and leaves all else of the paper as it is, or it would be no PDF/A any more."""

        def ensure_output_version(self, version: tuple[int, int]) -> None:
            """Keep the version: PDF/A-3 is PDF 1.7."""

        def register_extension(self, ext: object) -> None:
            """Name no extension."""

        def _update_meta(self) -> None:
            """Leave the description of the paper alone: it was written to the standard."""

    try:
        writer = PaperKeeper(io.BytesIO(pdf))
        seal = PdfSignedData(pdf_name("/Sig"), SigSeedSubFilter.PADES, timestamp=at, bytes_reserved=2 * ROOM)
        seal[pdf_name("/Name")] = TextStringObject(shop)
        steps = PdfCMSEmbedder().write_cms(FIELD, writer)
        next(steps)
        steps.send(SigObjSetup(sig_placeholder=seal))
        prepared, output = steps.send(SigIOSetup(md_algorithm="sha256"))
        steps.send(_container(prepared.document_digest, key))
    except PdfError as error:
        raise SealError(f"This paper cannot be sealed: {error}.") from error
    whole: bytes = output.getvalue()
    return whole


def _container(digest: bytes, key: SigningKey) -> bytes:
    own = key.certificate.public_bytes(serialization.Encoding.DER)
    return container(digest, own, key.sign(signed_part(digest, own)))
