"""Pictures that matplotlib drew, as text for a page: the same bytes for the same picture, and the same said in words."""

from __future__ import annotations

import re
from html import escape
from typing import Any

STYLE = {
    "svg.fonttype": "none",
    "svg.hashsalt": "rillbook",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Liberation Sans", "Arial", "sans-serif"],
    "font.size": 9.0,
    "hatch.linewidth": 0.6,
    "axes.linewidth": 0.8,
}


def svg_text(canvas: Any) -> str:
    """A drawn figure as SVG, without date or maker: the same bytes for the same figure."""
    from io import StringIO

    out = StringIO()
    canvas.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return out.getvalue()


def for_inlining(svg: str, ident: str, what: str, description: str) -> str:
    """Cut what only a stand-alone file needs, make the ids the page's own, and add the text alternative."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*|<style[^>]*>.*?</style>\s*| xmlns(:xlink)?=\"[^\"]*\"", "", body, flags=re.DOTALL)
    # Matplotlib numbers its groups alike in every drawing (axes_1, patch_2), so two plots of one page would share ids.
    body = re.sub(r"(\bid=\"|href=\"#|url\(#)", rf"\g<1>{ident}-", body)
    opening, rest = body.split(">", 1)
    opening = re.sub(r"\s(width|height|version)=\"[^\"]*\"", "", opening)
    words = f'<title id="{ident}-title">{escape(what)}</title>\n<desc id="{ident}-desc">{escape(description)}</desc>'
    return f'{opening} role="img" aria-labelledby="{ident}-title {ident}-desc">\n{words}{rest}'.strip()
