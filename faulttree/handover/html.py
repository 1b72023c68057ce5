"""Blocks written out as one HTML page that needs nothing else: no script, no picture, no address.

Texts are data and are escaped; the page says so to the browser as well, by a policy that allows its
own style and nothing more.
"""

from collections.abc import Iterable
from html import escape as escape_html

from faulttree.handover.blocks import Block, Facts, Heading, Paragraph, Table, plain_line

_STYLE = """
body { font: 16px/1.45 sans-serif; max-width: 60em; margin: 2em auto; padding: 0 1em; }
table { border-collapse: collapse; margin: 1em 0; }
th, td { border: 1px solid #888; padding: .25em .6em; text-align: left; vertical-align: top; }
h2 { border-bottom: 1px solid #888; margin-top: 2em; }
@media print { body { font-size: 11pt; margin: 0; } h2, h3 { break-after: avoid; } }
"""


def to_html(blocks: Iterable[Block], title: str) -> str:
    """The blocks as a whole HTML page."""
    body = "\n".join(_block(block) for block in blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def _text(text: str) -> str:
    return escape_html(plain_line(text), quote=True)


def _block(block: Block) -> str:
    match block:
        case Heading():
            text = f"<s>{_text(block.text)}</s>" if block.struck else _text(block.text)
            return f"<h{block.level}>{text}</h{block.level}>"
        case Paragraph():
            text = f"<strong>{_text(block.text)}</strong>" if block.important else _text(block.text)
            return f"<p>{text}</p>"
        case Facts():
            items = "".join(f"\n<li>{_item(label, text)}</li>" for label, text in block.items)
            return f"<ul>{items}\n</ul>"
        case Table():
            rows = "".join(f"\n{_row(row, 'td')}" for row in block.rows)
            return f"<table>\n{_row(block.head, 'th')}{rows}\n</table>"


def _item(label: str, text: str) -> str:
    if not label:
        return _text(text)
    stop = "" if label.rstrip().endswith(("?", ".")) else ":"
    return f"{_text(label)}{stop} {_text(text)}"


def _row(cells: Iterable[str], tag: str) -> str:
    return f"<tr>{''.join(f'<{tag}>{_text(cell)}</{tag}>' for cell in cells)}</tr>"
