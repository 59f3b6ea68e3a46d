"""A PDF as a reader sees it, by poppler's tools."""

import re
import subprocess


def text_of(pdf: bytes) -> str:
    """The text as laid out on the pages, spaces collapsed within lines."""
    done = subprocess.run(
        ["pdftotext", "-layout", "-enc", "UTF-8", "-", "-"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    return re.sub(r"[ \t]+", " ", done.stdout.decode())


def sizes_of(pdf: bytes) -> set[tuple[int, int]]:
    """Width and height of the pages in points, rounded."""
    done = subprocess.run(
        ["pdfinfo", "-l", "-1", "-"], input=pdf, capture_output=True, check=True, text=False
    )
    found = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+)", done.stdout.decode())
    return {(round(float(width)), round(float(height))) for width, height in found}


def pages_of(pdf: bytes) -> int:
    """How many pages it has."""
    done = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True)
    return int(re.search(rb"Pages: +(\d+)", done.stdout)[1])


def words_outside(pdf: bytes, *, margin: float = 20) -> list[str]:
    """Words that reach nearer than `margin` points to the edge of their page, or beyond it."""
    done = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True
    )
    outside, width, height = [], 0.0, 0.0
    for line in done.stdout.decode().splitlines():
        numbers = [
            float(n) for n in re.findall(r'(?:width|height|xMin|yMin|xMax|yMax)="([\d.-]+)"', line)
        ]
        if "<page" in line:
            width, height = numbers
        elif "<word" in line:
            left, top, right, bottom = numbers
            if left < margin or top < margin or right > width - margin or bottom > height - margin:
                outside.append(line)
    return outside
