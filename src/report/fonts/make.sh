#!/bin/sh
# Makes the two fonts beside this file from DejaVu Sans 2.37 (Debian: fonts-dejavu-core), with
# pyftsubset of fonttools (PyPI: fonttools brotli). `drawing.ttf` draws bitmaps and measures text;
# `page.woff2.base64` is the same glyphs, small, for SVG and HTML.
set -eu
from=${1:-/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf}
# Latin with its accents, Greek, punctuation, super- and subscripts, arrows and signs of measurement.
glyphs=U+20-7E,U+A0-17F,U+386-3CE,U+2010-2015,U+2018-201E,U+2022,U+2026,U+2030,U+2032,U+2033,U+2070-208E,U+20AC,U+2126,U+2190-2193,U+2202,U+2206,U+2211,U+2212,U+221A,U+221E,U+2220,U+2248,U+2260,U+2264,U+2265
cd "$(dirname "$0")"
pyftsubset "$from" --unicodes="$glyphs" --layout-features=kern --no-hinting --name-IDs='*' --drop-tables+=FFTM --output-file=drawing.ttf
pyftsubset "$from" --unicodes="$glyphs" --layout-features=kern --no-hinting --name-IDs='*' --drop-tables+=FFTM --flavor=woff2 --output-file=page.woff2
base64 -w0 page.woff2 > page.woff2.base64
rm page.woff2
