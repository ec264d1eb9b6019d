"""`python -m tests.quotes.run_papers [rounds]`: the time of a proposal against the renderer's own, in turn in one run.

Both make the same HTML of eight pages or more with three drawings: ours with the project's fetcher and mended tags, the
other with nothing but the renderer and the project's fonts. Then the proposal is made again in a process of its own and
has to have the same bytes. Ends with 1 where ours takes more than 1.3 times as long, or the bytes differ.
"""

from __future__ import annotations

import hashlib
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

MOST = 1.3
NOBODY = {"name": "Odette Marlowe", "site": "418 Fictional Quay #4R", "sha256": "0" * 64}
AGAIN = ("import hashlib, sys, tests.quotes.run_papers as run; run.set_up(); from estimating.service.pdf import "
         "html_to_pdf; print(hashlib.sha256(html_to_pdf(sys.stdin.read())).hexdigest())")


def set_up() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()


def page_of_the_demo() -> str:
    """The proposal of the demo's documents: plan, section, and the plan again as the third drawing."""
    from framing.engine.design import frame
    from quotes.demonstration import DATA, told
    from quotes.paper.rendering import filled, proposal_html
    from tests.quotes.rich import enriched

    survey, build = (json.loads((DATA / name).read_text()) for name in ("survey.json", "build.json"))
    framed = frame(survey, build)
    snapshot = enriched(bare_snapshot(framed.document, survey, build, told()["office"]))
    page = filled(proposal_html(snapshot, framed.plan_svg, framed.section_svg), **NOBODY)
    plan = page[page.index('<figure class="plan">'):page.index("</figure>") + len("</figure>")]
    return page.replace("<h2>5. Drainage provisions</h2>", f"<h2>5. Drainage provisions</h2>{plan}")


def bare_snapshot(framing: dict, survey: dict, build: dict, office: dict) -> dict:
    """What a proposal needs of a snapshot, with an invented price and no database."""
    from quotes.notes import notes_for

    payments = [{"milestone": row["milestone"], "share": row["share"], "amount": "100.00"}
                for row in office["payment_schedule"]]
    total = f"{100 * len(payments)}.00"
    groups = [{"title": "Frame", "holds": "Tapered joists", "amount": total, "cost": total}]
    chain = {"price": total, "sale": total, "tax_on_cost": "0.00", "tax_on_sale": "0.00", "taxed": "0.00",
             "discount": "0.00"}
    notes = [note.as_json() for note in notes_for(framing, survey, build)]
    return {
        "quote": {"number": "Q00001", "revision": 1, "issued_on": "2026-03-16", "valid_until": "2026-04-15",
                  "priced_on": "2026-03-16"},
        "office": {"warranty": "", "notices": "", "time_zone": "UTC", **office}, "survey": survey, "build": build,
        "framing": framing, "notes": notes,
        "estimate": {"currency": "USD", "groups": groups, "lines": [], "payments": payments, "chain": chain,
                     "terms": {"tax_rate": "0.07", "tax_place": "cost"}},
    }


def with_the_renderer_alone(page: str, folder: Path) -> bytes:
    """The renderer without anything of ours but the fonts, read from a folder."""
    import weasyprint

    return weasyprint.HTML(string=page, base_url=folder.as_uri() + "/").write_pdf(pdf_variant="pdf/ua-1")


def seconds(make) -> tuple[float, bytes]:
    start = time.process_time()
    content = make()
    return time.process_time() - start, content


def main(rounds: int) -> int:
    set_up()
    import pypdfium2
    from django.conf import settings

    from estimating.service.pdf import html_to_pdf

    page = page_of_the_demo()
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "fonts").symlink_to(settings.ROOT / "quotes/static/fonts")
        with_the_renderer_alone(page, Path(name))  # what is read once is read now
        for _ in range(rounds):
            took, content = seconds(lambda: html_to_pdf(page))
            ours.append(took)
            theirs.append(seconds(lambda: with_the_renderer_alone(page, Path(name)))[0])
    again = subprocess.run([sys.executable, "-c", AGAIN], input=page, capture_output=True, text=True, check=True,
                           env={**os.environ, "PYTHONHASHSEED": "1"}).stdout.strip()
    same = again == hashlib.sha256(content).hexdigest()
    ratio = statistics.median(ours) / statistics.median(theirs)
    print(f"{len(pypdfium2.PdfDocument(content))} pages, {page.count('<img ')} drawings, {len(content):,} bytes")
    print(f"ours     {statistics.median(ours):.2f} s of processor time, median of {rounds}")
    print(f"renderer {statistics.median(theirs):.2f} s")
    print(f"ratio    {ratio:.2f}, at most {MOST}")
    print(f"bytes    {'the same' if same else 'DIFFERENT'} in a process of its own")
    return 0 if ratio <= MOST and same else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5))
