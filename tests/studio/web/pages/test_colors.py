"""Text and marks keep the contrast of WCAG 2.2, success criteria 1.4.3 and 1.4.11."""

import re
from pathlib import Path

import pytest

CSS = Path(__file__).parents[4] / "studio" / "static" / "studio" / "studio.css"
ON_PAPER = ("ink", "ash", "ultramarine", "chrome-green", "ochre", "iron-red")


def palettes():
    """Light; dark as the device is set; dark by choice."""
    blocks = re.findall(r":root[^{]*\{(.*?)\}", CSS.read_text(), re.DOTALL)
    found = [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks]
    return [palette for palette in found if palette]


def luminance(color):
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_itself():
    assert contrast("#ffffff", "#000000") == pytest.approx(21)


@pytest.mark.parametrize("palette", palettes(), ids=["light", "device", "dark"])
def test_text_can_be_read(palette):
    for ground in ("paper", "sheet"):
        for name in ON_PAPER:
            assert contrast(palette[name], palette[ground]) >= 4.5, f"{name} on {ground}"
    assert contrast(palette["on-ultramarine"], palette["ultramarine"]) >= 4.5


def test_light_and_dark_define_the_same_colors():
    light, device, dark = palettes()
    assert light.keys() == dark.keys()
    assert dark == device
