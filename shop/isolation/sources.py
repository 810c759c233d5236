"""Where the words of the steps come from, and how a source is said."""

import re
from typing import Final


def gettext_noop(text: str) -> str:
    """Mark a text for the catalogue: it is said in somebody's language where it is shown."""
    return text


def source_noop(text: str) -> str:
    """Mark what is said of a source, so that it is known from what people write."""
    return text


#: How the starting library marks what was not read again.
_FROM_MEMORY: Final = re.compile(r"\bfrom memory: | from memory\b(?!:)")
NO_SOURCE: Final = source_noop("common practice, no source")

#: Where the cautions that the words below follow are written, as the starting library says it.
CAUTION_SOURCES: Final = {
    "SC01": "29 CFR 1910.147(d)(5)(i)",
    "SC02": "29 CFR 1910.147(d)(5)(i) and (ii)",
    "SC03": "29 CFR 1910.147(d)(5)(i); 1910.169 from memory",
    "SC04": "29 CFR 1910.147; ASTM C1055",
    "SC05": "29 CFR 1910.147(c)(4), (c)(6)(i) and (d)",
    "SC06": "occupational medicine texts on high-pressure injection injury",
    "SC16": (
        "from memory: 29 CFR 1910.333(a)(1); 29 CFR 1926.416; NFPA 70 Articles 445 and 702;"
        " local code"
    ),
    "SC21": "general shop practice",
    "SC29": "29 CFR 1910.147(f)(1); general practice",
}


def citation(source: str) -> str:
    """A source as it is cited to who does the work. That something in it is from memory stays with
    the cautions, where a manager reads it."""
    return _FROM_MEMORY.sub("", source)
