"""The frame of every HTML file this program hands over: one page that asks nothing of anybody and loads nothing."""

from __future__ import annotations

from html import escape

STILL = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
WITH_SCRIPT = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'"
)


def html_page(body: str, *, title: str, style: str, policy: str = STILL, more: str = "") -> str:
    """A whole page.

    Parameters
    ----------
    body : HTML; title : plain text; style : CSS; more : further elements of the head, each with its line break.
    policy : what the page may load; by default its own style and nothing else.
    """
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
{more}<meta name="referrer" content="no-referrer">
<title>{escape(title)}</title>
<style>
{style}</style>
</head>
<body>
{body}
</body>
</html>
"""
