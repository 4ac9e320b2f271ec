"""A report as one HTML file that needs nothing beside it."""

from base64 import b64encode
from html import escape

from dashboard.report.blocks import Block, Caution, Picture, Points, Report, Table, Words

_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #1c2430; max-width: 52rem;
  margin: 2rem auto; padding: 0 1rem; }
h1 { line-height: 1.2; margin-bottom: 0.2rem; }
h2 { margin-top: 2.2rem; border-bottom: 2px solid #c7d0db; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; font-size: 0.92em; }
th, td { text-align: left; vertical-align: top; padding: 0.35rem 0.6rem 0.35rem 0;
  border-bottom: 1px solid #d8dee6; overflow-wrap: anywhere; }
figure { margin: 1.2rem 0; display: inline-block; }
figure img { width: 100%; height: auto; }
figcaption { font-size: 0.88em; color: #44505f; }
.caution { border-left: 0.35rem solid #b3261e; padding: 0.4rem 0.9rem; background: #fbeceb; }
@media print { body { margin: 0; } h2, figure, tr { break-inside: avoid; } }
"""


def html_document(report: Report) -> bytes:
    """The report as an HTML document in UTF-8."""
    parts = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(report.title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(report.title)}</h1>",
        f"<p>{escape(report.span)}. {escape(report.made)}.</p>",
    ]
    for section in report.sections:
        parts.append(f"<section><h2>{escape(section.title)}</h2>")
        parts += [_block(block) for block in section.blocks]
        parts.append("</section>")
    parts.append("</body></html>")
    return ("\n".join(parts) + "\n").encode()


def _block(block: Block) -> str:
    match block:
        case Words():
            return f"<p>{escape(block.text)}</p>"
        case Caution():
            return f'<p class="caution">{escape(block.text)}</p>'
        case Points():
            rows = "".join(f"<li>{escape(row)}</li>" for row in block.rows)
            return f"<ul>{rows}</ul>"
        case Table():
            return _table(block)
        case Picture():
            return _picture(block)


def _table(block: Table) -> str:
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in block.head)
    rows = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in block.rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _picture(block: Picture) -> str:
    source = f"data:image/{block.kind};base64,{b64encode(block.content).decode()}"
    words = escape(block.words)
    return (
        f'<figure style="width: {100 * block.width:.0f}%"><img src="{source}" alt="{words}">'
        f"<figcaption>{words}</figcaption></figure>"
    )
