"""Formulas as drawings (SVG) within the page: every browser shows them alike, with no script, font or network.

Drawn in the colour of the text around them; the formula's source stands beside them for those who do not see.
"""

from __future__ import annotations

from html import escape
from typing import Any

import ziamath
from docutils import nodes

__all__ = ["drawn", "setup"]

SIZE = 17  # of letters, px: those of the text

ziamath.config.svg2 = False  # glyphs as paths: many drawings in one page must not share names


def drawn(source: str, inline: bool) -> str:
    """The formula as an HTML element, its base line on that of the text."""
    formula = ziamath.Latex(" ".join(source.split()), size=SIZE, inline=inline, color="currentColor")
    drop = f' style="vertical-align:{formula.getyofst():.1f}px"' if inline else ""
    kind = "inline" if inline else "block"
    return (
        f'<span class="formula {kind}" role="img" aria-label="{escape(source)}"{drop}>{formula.svg()}</span>'
    )


def _inline(writer: Any, node: nodes.Element) -> None:
    writer.body.append(drawn(node.astext(), inline=True))
    raise nodes.SkipNode


def _block(writer: Any, node: nodes.Element) -> None:
    writer.body.append(f"{writer.starttag(node, 'div')}{drawn(node.astext(), inline=False)}</div>\n")
    raise nodes.SkipNode


def setup(app: Any) -> dict[str, bool]:
    """What Sphinx calls."""
    app.add_html_math_renderer("drawn", inline_renderers=(_inline, None), block_renderers=(_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
