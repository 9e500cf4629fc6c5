#!/usr/bin/env python3
"""`pack.py DIRECTORY`: the inputs of a corpus as JSON lines, each the number of a household and what was typed there."""

import json
import pathlib
import sys

packed = set()
for file in pathlib.Path(sys.argv[1]).iterdir():
    raw = file.read_bytes()
    if raw:
        packed.add((raw[0] % 8, raw[1:].decode(errors="replace")))
for household, text in sorted(packed):
    print(json.dumps({"household": household, "text": text}, ensure_ascii=False))
