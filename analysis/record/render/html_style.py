"""The looks of the report page: one style sheet, system fonts, A4 or Letter in print.

Tested in tests/analysis/record/render/test_html.py.
"""

STYLE = """
@page { size: PAPER; margin: 16mm 17mm 17mm; }
* { box-sizing: border-box; }
html { font: 15px/1.5 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans",
  Arial, sans-serif; color: #1a1a1a; background: #fff; }
body { max-width: 178mm; margin: 0 auto; padding: 9mm 6mm 16mm; }
header { display: flex; justify-content: space-between; gap: 2em; align-items: baseline;
  border-bottom: 1px solid #1a1a1a; padding-bottom: .4em; }
header p { margin: 0; color: #555; font-size: .87em; text-align: right; }
h1 { font-size: 1.3em; line-height: 1.25; margin: 0; overflow-wrap: anywhere; }
h2 { font-size: 1.07em; margin: 2em 0 .5em; break-after: avoid; }
p, ul { margin: .4em 0; }
ul { padding-left: 1.2em; }
li { margin: .25em 0; }
.verdict { display: flex; gap: 6mm; align-items: flex-start; margin: 6mm 0 5mm; padding: 5mm 6mm;
  border: 2.5px solid var(--tone); border-radius: 2mm; break-inside: avoid; }
.verdict svg { flex: none; color: var(--tone); width: 19mm; height: 19mm; margin-top: 1mm; }
.verdict .word { margin: 0; font-size: .87em; letter-spacing: .08em; text-transform: uppercase;
  color: var(--tone); font-weight: 650; }
.verdict .headline { margin: 0; font-size: 1.75em; line-height: 1.2; font-weight: 700; }
.verdict p { overflow-wrap: anywhere; }
.verdict .numbers { margin: .6em 0; padding: 0; list-style: none; font-weight: 600;
  font-variant-numeric: tabular-nums; }
.fills { --tone: #00573f; } .tight { --tone: #7a4b00; } .gels { --tone: #9c2a00; }
.unfair, .cannot { --tone: #3d3d3d; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: .36em .9em .36em 0;
  border-bottom: 1px solid #d5d5d5; overflow-wrap: anywhere; }
thead th { overflow-wrap: normal; word-break: normal; hyphens: none; }
thead th { font-size: .87em; color: #555; font-weight: 600; border-bottom-color: #1a1a1a; }
tbody th { font-weight: 400; width: 36%; }
td.value { font-weight: 650; overflow-wrap: normal; width: 24%; }
td.none { color: #555; }
td.more { color: #3d3d3d; width: 40%; }
table.grid { margin: .4em 0 1em; }
table.grid td, table.grid thead th { padding-right: .7em; }
table.grid:not(.narrow) td { white-space: nowrap; }
table.narrow td:first-child { white-space: nowrap; width: 5.5em; }
table.narrow td:nth-child(2):not(:last-child) { white-space: nowrap; width: 4.5em; }
.photos { display: grid; grid-template-columns: 1fr 1fr; gap: 0 5mm; align-items: start; }
.photos figure { margin: 3mm 0; }
.hashes { padding: 0; list-style: none; font-size: .8em; }
.hashes code { font: .92em/1.4 ui-monospace, Consolas, Menlo, "Liberation Mono", monospace;
  overflow-wrap: anywhere; color: #3d3d3d; }
table, tr, figure, .caution li, .notes div { break-inside: avoid; }
figure { margin: 5mm 0; }
figure img { display: block; max-width: 100%; max-height: 165mm; margin: 0 auto; }
figcaption { font-size: .87em; color: #3d3d3d; margin-top: .4em; }
.caution { border: 1px solid #1a1a1a; border-radius: 2mm; padding: 1mm 5mm 3mm; margin-top: 2em; }
.caution h2 { margin: .7em 0 .3em; }
pre { font: 12.5px/1.5 ui-monospace, "Cascadia Mono", Consolas, Menlo, "Liberation Mono", monospace;
  white-space: pre-wrap; overflow-wrap: anywhere; background: #f4f4f4; padding: 3mm 4mm; margin: 0;
  columns: 2 70mm; column-gap: 8mm; break-inside: avoid; }
.notes div { border-bottom: 1px solid #8a8a8a; min-height: 13mm; font-size: .87em; color: #555;
  padding-top: 1.5mm; }
footer { margin-top: 2em; font-size: .87em; color: #555; }
@media (max-width: 640px) {
  body { padding: 4mm 4mm 12mm; }
  header { display: block; }
  header p { text-align: left; }
  .verdict { display: block; padding: 4mm; }
  .verdict svg { width: 13mm; height: 13mm; margin: 0 0 1mm; }
  .verdict .headline { font-size: 1.45em; }
  .photos { display: block; }
  tbody th { width: 34%; }
  th, td { padding-right: .6em; }
  table.grid { font-size: .93em; }
  table.long thead { display: none; }
  table.long tr { display: block; padding: .5em 0; border-bottom: 1px solid #d5d5d5; }
  table.long th, table.long td { display: block; width: auto; padding: .1em 0; border: 0; }
  pre { columns: 1; }
}
@media print {
  html { font-size: 10pt; }
  body { max-width: none; padding: 0; }
  figure img { max-height: 118mm; }
  figure.plan img { max-height: 150mm; }
  pre { font-size: 8.5pt; background: none; border: 1px solid #c8c8c8; }
  .verdict, .caution { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""

PAPERS = {"A4": "A4", "letter": "letter"}
"""What the report prints on, as a style sheet names it."""


def style(paper: str) -> str:
    """Return the style sheet for one paper of `PAPERS`."""
    return STYLE.replace("PAPER", PAPERS[paper], 1)


# One shape per verdict, so that it reads without colour. Drawn in a square of 40 units.
SYMBOLS = {
    "fills": '<circle cx="20" cy="20" r="17"/><path d="M11 21l6.5 7L29 13"/>',
    "tight": '<path d="M20 4l17 31H3z"/><path d="M20 15v10M20 29.5v.5"/>',
    "gels first": '<path d="M13 3h14l10 10v14L27 37H13L3 27V13z"/>'
    '<path d="M13 13l14 14M27 13L13 27"/>',
    "unfair test": '<rect x="4" y="4" width="32" height="32" rx="2"/>'
    '<path d="M11 16h18M11 25h18M25 9L15 32"/>',
    "cannot decide": '<circle cx="20" cy="20" r="17" stroke-dasharray="5 4"/>'
    '<path d="M14.5 16a5.5 5.5 0 1 1 8.5 4.6c-2 1.3-3 2.2-3 4.4M20 29.5v.5"/>',
}
CLASSES = {
    "fills": "fills",
    "tight": "tight",
    "gels first": "gels",
    "unfair test": "unfair",
    "cannot decide": "cannot",
}
