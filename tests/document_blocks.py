"""The fenced blocks of the documents: where each stands, and in what language it is written."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
DOCUMENTS = {
    str(path.relative_to(ROOT)): path
    for path in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(ROOT.glob("*/README.md")),
                 *sorted(ROOT.glob("drivers/*/*/README.md"))]
}  # fmt: skip
_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_NEEDS = re.compile(r"# needs (.+)")


@dataclass(frozen=True, slots=True)
class Block:
    """`line` of the document on which it begins, under the heading `heading`; `comment`: the HTML
    comment on the line before, if any."""

    document: str
    line: int
    heading: str
    language: str
    comment: str
    text: str

    @property
    def needs(self) -> str | None:
        """What its first line says that it needs ("your probes"), or None."""
        said = _NEEDS.fullmatch(self.text.partition("\n")[0])
        return said[1] if said else None

    def __str__(self) -> str:
        return f"{self.document}:{self.line}"


def blocks(document: str) -> Iterator[Block]:
    """Every fenced block of a document, in order."""
    text = DOCUMENTS[document].read_text(encoding="utf-8")
    for fence in _FENCE.finditer(text):
        before = text[: fence.start()]
        headings = re.findall(r"^#+ (.*)$", _FENCE.sub("", before), re.MULTILINE)
        comment = re.search(r"<!-- (.*) -->\n\Z", before)
        yield Block(
            document, before.count("\n") + 1, headings[-1] if headings else "", fence[1],
            comment[1] if comment else "", fence[2],
        )  # fmt: skip


def all_blocks(*languages: str) -> list[Block]:
    """Every block of all documents in one of these languages ("" for none)."""
    return [it for name in DOCUMENTS for it in blocks(name) if it.language in languages]
