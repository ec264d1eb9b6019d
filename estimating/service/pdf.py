"""HTML to tagged PDF (PDF/UA-1): the same text gives the same bytes under the same lock and fonts."""

from pathlib import Path
from urllib.parse import unquote, urlsplit

import weasyprint
from django.conf import settings
from django.contrib.staticfiles import finders
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from estimating.service.pdf_tags import mend_tags

BASE = "https://paper.invalid/"  # what relative addresses are relative to: a host that cannot exist (RFC 2606)


class NotOurFile(FatalURLFetchingError):
    """A paper asked for something that is not the project's own; it is not rendered without it."""


class OwnFiles(URLFetcher):
    """Serves what stands among the paper templates or the static files, and `data:`; nothing else, no network."""

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        parts = urlsplit(url)
        if parts.scheme == "data":
            return super().fetch(url, headers)
        if f"{parts.scheme}://{parts.netloc}/" != BASE:
            raise NotOurFile(f"{url[:200]} is not one of the project's own files")
        path = own_file(unquote(parts.path).lstrip("/"))
        if path is None:
            raise NotOurFile(f"there is no {parts.path[:200]} among the paper templates and static files")
        return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": TYPES.get(path.suffix, "")})


TYPES = {
    ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png", ".jpg": "image/jpeg",
    ".woff2": "font/woff2", ".ttf": "font/ttf", ".otf": "font/otf",
}  # fmt: skip


def own_file(name: str) -> Path | None:
    """A file of `templates/paper/` or of the static files, by its name there; None where there is none."""
    folder = settings.ROOT / "templates" / "paper"
    path = (folder / name).resolve()
    if not path.is_file() or not path.is_relative_to(folder):
        found = None if ".." in name.split("/") else finders.find(name)
        if not found:
            return None
        path = Path(found)
    return path if path.suffix in TYPES else None


def html_to_pdf(html: str) -> bytes:
    """The PDF of a paper.

    Raises NotOurFile where the HTML asks for anything but the project's own files. Nothing of the moment goes in: no
    date, no random identifier.
    """
    document = weasyprint.HTML(string=html, base_url=BASE, url_fetcher=OwnFiles(allowed_protocols=("data",)))
    return document.write_pdf(pdf_variant="pdf/ua-1", finisher=mend_tags)
