"""Words that no sentence of a proposal may hold: that something complies, meets a code, or is safe for certain."""

from __future__ import annotations

import re
import unicodedata

RULES = r"(?:codes?|standards?|requirements?|regulations?|laws?|ordinances?|irc|ibc|ipc|asce|ada|nds)"
CODE = r"(?:(?:the|all|any|every|each|local|state|city|current|applicable|relevant|building|fire|residential) )*" \
       r"(?:codes?|building laws?|regulations?|ordinances?)"
CLAIMS = re.compile(
    r"\b(?:"
    r"compl(?:y|ies|ied|ying|iant|iance|iantly)|noncompliant"
    r"|conform(?:s|ed|ing|ant|ance|ity)?"
    rf"|(?:meets?|met|meeting|satisf(?:y|ies|ied|ying)|fulfil(?:s|l|ls|led)?|exceeds?) (?:\w+ ){{0,4}}?{RULES}"
    rf"|(?:passes|per|in accordance with|according to|up to|built to|done to|laid to|adheres? to|in line with"
    rf"|legal under|allowed by|permitted by) {CODE}"
    r"|to code|code (?:approved|legal|minimum|worthy)|approved by code|passes inspections?"
    r"|(?:guaranteed?|guarantees|certified|certainly|proven|warranted|perfectly|completely|absolutely|entirely|fully|"
    r"totally|100 ?%|structurally)(?: to be| as| is| are)? (?:safe|sound|legal|watertight)"
    r"|(?:is|are|be|remains?) (?:safe|legal)"
    r")(?!\w)", re.IGNORECASE,
)


def claims_of(text: str) -> tuple[str, ...]:
    """The words of a text that claim what nobody here may claim, as they were read; also where hyphens, odd spaces or
    invisible letters stand between them."""
    plain = "".join(c for c in unicodedata.normalize("NFKC", text) if unicodedata.category(c) != "Cf")
    plain = re.sub(r"[\s\-\u2010-\u2015_/.*]+", " ", plain)
    return tuple(dict.fromkeys(found[0] for found in CLAIMS.finditer(plain)))
