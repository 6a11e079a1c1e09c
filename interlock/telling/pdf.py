"""Pages as PDF; the only door to the ``weasyprint`` library."""

from __future__ import annotations


class NoPdfError(Exception):
    """PDF cannot be made here; the text says what is missing."""


def check_pdf() -> None:
    """See to it that `to_pdf` will work, before long work is done for it.

    Raises
    ------
    NoPdfError
        Where the library, or a system library that it needs, is not installed.
    """
    try:
        import weasyprint  # noqa: F401
    except ImportError:
        said = "PDF needs the extra 'report': pip install 'interlock[report]'"
        raise NoPdfError(said) from None
    except OSError as error:
        said = f"PDF needs the system's text shaping (Debian: libpangoft2-1.0-0): {error}"
        raise NoPdfError(said.splitlines()[0]) from None


def to_pdf(page: str) -> bytes:
    """The HTML `page` as PDF: the same bytes for the same page.

    Nothing is fetched: a page is complete in itself.

    Raises
    ------
    NoPdfError
        As `check_pdf`.
    """
    check_pdf()
    from weasyprint import HTML

    document = HTML(string=page, url_fetcher=_Nothing())
    # With tags, headings, tables and what pictures are called reach who cannot see the pages.
    made: bytes = document.write_pdf(pdf_identifier=b"interlock", pdf_tags=True)
    return made


class _Nothing:
    """Fetches nothing; what a page asks for all the same is left out of it."""

    _fail_on_errors = False  # asked by newer versions of the library

    def __call__(self, url: str, *_: object, **__: object) -> dict[str, object]:
        raise ValueError(f"a page must be complete in itself; it asks for {url}")
