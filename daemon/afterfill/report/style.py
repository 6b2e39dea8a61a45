"""The look of reports and of charts: for phone, screen and paper, in light and dark."""

from base64 import b64encode
from hashlib import sha256

COLOURS = """
:root { color-scheme: light dark; --ink: #1a1d21; --soft: #565d66; --paper: #fff; --card: #f3f5f7;
  --edge: #d3d8de; --line: #0b5394; --band: #9ec5e8; --limit: #b30000; --blind: #d9d9d9;
  --bad: #a10000; --good: #1c6b2a; --unsure: #7a5200; }
@media (prefers-color-scheme: dark) { :root { --ink: #e8eaed; --soft: #a9b1ba; --paper: #14171a;
  --card: #1f2429; --edge: #3a424a; --line: #8ec5ff; --band: #2f5f8f; --limit: #ff8a80;
  --blind: #3d4248; --bad: #ff8a80; --good: #7ddc8c; --unsure: #ffc766; } }
"""

CHARTS = """
figure { margin: 1rem 0 1.5rem; break-inside: avoid; }
.plot { position: relative; margin: 1.3rem 0 0 3.2rem; height: 11rem; }
.plot .drawing { display: block; width: 100%; height: 100%; background: var(--card);
  border: 1px solid var(--edge); }
.plot .words { position: absolute; top: 0; left: 0; width: 100%; height: 100%; }
.plot .words, .times { overflow: visible; font-size: .8rem; fill: var(--soft); }
.plot .refill { fill: var(--ink); }
.times { display: block; height: 1.4rem; width: calc(100% - 3.2rem); margin-left: 3.2rem; }
.drawing * { vector-effect: non-scaling-stroke; }
.line, .grid, .limit, .mark, .floor { fill: none; stroke-width: 1.5; }
svg .line { stroke: var(--line); stroke-width: 2; stroke-linejoin: round; }
svg .grid { stroke: var(--edge); stroke-width: 1; }
svg .limit { stroke: var(--limit); stroke-dasharray: 7 4; stroke-width: 2; }
svg .floor { stroke: var(--ink); stroke-dasharray: 1 5; stroke-linecap: round; stroke-width: 2; }
svg .mark { stroke: var(--ink); stroke-dasharray: 2 3; }
svg .band { fill: var(--band); fill-opacity: .65; }
svg .blind { fill: var(--blind); }
.key { list-style: none; display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; padding: 0;
  margin: .2rem 0 0 3.2rem; font-size: .85rem; }
.key i { display: inline-block; width: 1.4rem; height: .7rem; margin-right: .4rem; }
.key i.line { border-top: 3px solid var(--line); height: 0; vertical-align: middle; }
.key i.limit { border-top: 3px dashed var(--limit); height: 0; vertical-align: middle; }
.key i.floor { border-top: 3px dotted var(--ink); height: 0; vertical-align: middle; }
.key i.band { background: var(--band); } .key i.blind { background: var(--blind); }
"""

_PAGE = """
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 52rem; background: var(--paper);
  color: var(--ink); font: 1rem/1.5 system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0 0 .25rem; }
h2 { font-size: 1.2rem; margin: 2rem 0 .5rem; padding-top: .5rem;
  border-top: 1px solid var(--edge); }
h3 { font-size: 1rem; margin: 1rem 0 .25rem; }
p { margin: .4rem 0; }
.soft, .empty, figcaption, .key { color: var(--soft); }
.empty { font-style: italic; }
.verdict { background: var(--card); border-left: .4rem solid var(--soft); border-radius: .3rem;
  padding: .6rem .9rem; margin: 1rem 0; }
.verdict strong.word { font-size: 1.25rem; display: block; }
.carried-over { border-color: var(--bad); } .carried-over .word { color: var(--bad); }
.clear { border-color: var(--good); } .clear .word { color: var(--good); }
.possible, .cannot-tell { border-color: var(--unsure); }
.possible .word, .cannot-tell .word { color: var(--unsure); }
table { border-collapse: collapse; width: 100%; font-size: .95rem; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem .35rem 0;
  border-bottom: 1px solid var(--edge); }
th { color: var(--soft); font-weight: 600; }
.caution { background: var(--card); padding: .2rem 1.2rem; border-radius: .3rem; }
@media (min-width: 40.01rem) { td:first-child { white-space: nowrap; } }
@media (max-width: 40rem) {
  thead { display: none; }
  table, tbody, tr, td { display: block; }
  tr { border-bottom: 1px solid var(--edge); padding: .4rem 0; }
  td { border: 0; padding: .1rem 0; }
  td::before { content: attr(data-label) ": "; color: var(--soft); }
  .plot, .times { margin-left: 2.6rem; } .times { width: calc(100% - 2.6rem); }
  .key { margin-left: 0; }
}
@media print {
  :root { --ink: #000; --soft: #333; --paper: #fff; --card: #fff; --edge: #999; --line: #0b5394;
    --band: #b9d4ec; --limit: #b30000; --blind: #ddd; --bad: #a10000; --good: #1c6b2a;
    --unsure: #7a5200; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  h2, h3, figcaption { break-after: avoid; } tr, .verdict { break-inside: avoid; }
  .plot { height: 7rem; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""

STYLE = COLOURS + CHARTS + _PAGE


def source_of(style: str) -> str:
    """What a page that holds this style lets a browser apply, and nothing else (CSP level 2)."""
    return f"'sha256-{b64encode(sha256(style.encode()).digest()).decode()}'"


STYLE_SOURCE = source_of(STYLE)
