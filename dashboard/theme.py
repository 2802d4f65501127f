"""The theme of the frame: its type, colours, sizes and corners, as Mantine takes them."""

from dashboard.charts import style


def _ten(*steps: str) -> list[str]:
    return list(steps)


THEME = {
    "fontFamily": style.FONT,
    "headings": {
        "fontFamily": style.FONT,
        "fontWeight": "650",
        "sizes": {"h1": {"fontSize": "30px", "lineHeight": "1.2"}, "h2": {"fontSize": "17px", "lineHeight": "1.3"}},
    },
    "colors": {
        "ink": _ten(
            "#F3F5F5", "#E9ECED", "#D2D7DA", "#AEB6BC", "#99A2A9", "#7F878D", "#596167", "#454C52", "#2B3136", "#1A1E22"
        ),
        "wood": _ten(
            "#FBF6EC", "#F4E4C4", "#E6CFA2", "#D8C29A", "#BFA574", "#A08550", "#856C3A", "#6B5428", "#5F481A", "#3A2B18"
        ),
        "amber": _ten(
            "#FFF6E0", "#FFE7B0", "#FFD27A", "#F5B93D", "#E69F00", "#D98200", "#D55E00", "#B84F00", "#A04100", "#7A3200"
        ),
        "back": _ten(
            "#FBF1F6", "#F5DCE9", "#ECB4D3", "#E39AC4", "#CC79A7", "#B85F91", "#A3487A", "#8F4C75", "#8A3A66", "#5E2746"
        ),
        "blue": _ten(
            "#EAF5FC", "#D3EAF8", "#B5E0F7", "#85C9F2", "#56B4E9", "#2B93CF", "#0072B2", "#00639C", "#005080", "#003A5C"
        ),
    },
    "primaryColor": "ink",
    "primaryShade": {"light": 9, "dark": 1},
    "autoContrast": True,
    "defaultRadius": "sm",
    "radius": {"sm": "3px"},
    "shadows": dict.fromkeys(("xs", "sm", "md", "lg", "xl"), "none"),
    "spacing": {"xs": "8px", "sm": "12px", "md": "16px", "lg": "20px", "xl": "28px"},
    "breakpoints": {"xs": "30em", "sm": "47.5em", "md": "62em", "lg": "80em", "xl": "90em"},
    "fontSizes": {"xs": "13px", "sm": "14px", "md": "16px", "lg": "17px", "xl": "23px"},
    "components": {
        "Paper": {"defaultProps": {"withBorder": True, "radius": "sm", "shadow": "none"}},
        "Badge": {"styles": {"root": {"textTransform": "none"}}},
        "Anchor": {"defaultProps": {"underline": "always"}},
    },
}
