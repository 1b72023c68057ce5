"""The colours: dark, light, and strong contrast.

Colour never carries a meaning alone; every state that has a colour has a word or a sign as well.
Without colours (`NO_COLOR`) the same themes are shown in greys by Textual itself. Only plain
colours are used, no transparency on text, so that the contrast of every theme can be measured.
"""

from __future__ import annotations

from textual.theme import Theme

DARK, LIGHT, CONTRAST = "bench-dark", "bench-light", "strong-contrast"

LABELS = {
    DARK: "Dark",
    LIGHT: "Light, for a bright shop",
    CONTRAST: "Strong contrast, black and white",
}


def _theme(
    name: str,
    *,
    dark: bool,
    background: str,
    surface: str,
    panel: str,
    foreground: str,
    quiet: str,
    primary: str,
    warning: str,
    error: str,
    success: str,
    cursor: str,
    on_cursor: str,
) -> Theme:
    """A theme in which every text colour is said outright."""
    return Theme(
        name=name,
        dark=dark,
        primary=primary,
        secondary=primary,
        accent=warning,
        warning=warning,
        error=error,
        success=success,
        foreground=foreground,
        background=background,
        surface=surface,
        panel=panel,
        variables={
            "text": foreground,
            "text-muted": quiet,
            "text-disabled": quiet,
            "text-primary": primary,
            "text-warning": warning,
            "text-error": error,
            "text-success": success,
            "text-accent": warning,
            "foreground-muted": quiet,
            "foreground-disabled": quiet,
            "block-cursor-background": cursor,
            "block-cursor-foreground": on_cursor,
            "block-cursor-text-style": "bold",
            "block-cursor-blurred-background": panel,
            "block-cursor-blurred-foreground": foreground,
            "block-hover-background": panel,
            "border": primary,
            "border-blurred": quiet,
            "scrollbar": quiet,
            "scrollbar-hover": primary,
            "scrollbar-active": primary,
            "scrollbar-background": background,
            "scrollbar-background-hover": background,
            "scrollbar-background-active": background,
            "scrollbar-corner-color": background,
            "input-cursor-background": foreground,
            "input-cursor-foreground": background,
            "input-cursor-text-style": "none",
            "input-selection-background": cursor,
            "input-selection-foreground": on_cursor,
        },
    )


THEMES = (
    _theme(
        DARK,
        dark=True,
        background="#12161b",
        surface="#1b2128",
        panel="#2a323c",
        foreground="#e8e6e0",
        quiet="#a8b0b8",
        primary="#7cc4ff",
        warning="#ffc35c",
        error="#ff9a8d",
        success="#8fdc9a",
        cursor="#7cc4ff",
        on_cursor="#0b0f14",
    ),
    _theme(
        LIGHT,
        dark=False,
        background="#fbfaf6",
        surface="#f0eee8",
        panel="#dedbd2",
        foreground="#16181a",
        quiet="#4a5058",
        primary="#0b4f86",
        warning="#7a4500",
        error="#9c1c12",
        success="#1c5a28",
        cursor="#0b4f86",
        on_cursor="#ffffff",
    ),
    _theme(
        CONTRAST,
        dark=True,
        background="#000000",
        surface="#000000",
        panel="#1a1a1a",
        foreground="#ffffff",
        quiet="#ffffff",
        primary="#ffff00",
        warning="#ffff00",
        error="#ffffff",
        success="#ffffff",
        cursor="#ffff00",
        on_cursor="#000000",
    ),
)
