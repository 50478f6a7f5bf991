"""The colours of the pages, light and dark. A test computes their contrast.

Text stands at 4.5 to 1 or more on its ground, lines and marks at 3 to 1 (WCAG 2.1, 1.4.3
and 1.4.11, level AA). No meaning rests on a colour alone: marks differ in form, bands in
their edge, words stand beside both.
"""

TEXT = ("text", "muted", "leave", "look", "link")
"""Colours of writing."""

GRAPHICS = ("air", "oxygen", "pulse", "other", "leave", "look", "limit")
"""Colours of lines and marks."""

GROUNDS = ("ground", "panel")
"""What they stand on."""

LIGHT = {
    "ground": "#ffffff",
    "panel": "#f3f5f8",
    "text": "#1b1f24",
    "muted": "#4a5360",
    "grid": "#d3d9e0",
    "link": "#0b5cad",
    "air": "#0b5cad",
    "oxygen": "#a3195b",
    "pulse": "#2f6b2f",
    "other": "#5b4b9a",
    "leave": "#b00020",
    "look": "#7a4b00",
    "limit": "#4a5360",
}

DARK = {
    "ground": "#12161b",
    "panel": "#1c2229",
    "text": "#e8ecf1",
    "muted": "#aab4c0",
    "grid": "#39424d",
    "link": "#7fbcff",
    "air": "#6cb4ff",
    "oxygen": "#ff8fc0",
    "pulse": "#7fd67f",
    "other": "#b9a8ff",
    "leave": "#ff9a9a",
    "look": "#ffc266",
    "limit": "#aab4c0",
}


def variables(colours: dict[str, str]) -> str:
    """Return the colours as CSS custom properties."""
    return "".join(f"--{name}:{colour};" for name, colour in colours.items())
