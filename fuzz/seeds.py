#!/usr/bin/env python3
"""What made-up messages are made of: `seeds.py DIRECTORY` writes the words of the vocabularies as a dictionary for the
fuzzer, and a file for each message of the corpus and of the build sets; the first byte of each chooses a household."""

import json
import pathlib
import sys
import tomllib

HERE = pathlib.Path(__file__).resolve().parent
WORDS = HERE / "../src/chat/read/words"
SETS = HERE / "../tests/reading"
# Signs and shapes that no vocabulary lists.
SHAPES = ["120", "4.5", "4,5", "2x90", "#12", "12-15", "12, 13", "7:30", "0730", "19h30", "3/4", "1/2", "->", "\n", "?", "½", "14 Nov", "L60 R85"]


def phrases(node):
    """Every phrase of a vocabulary, whatever table it stands in."""
    if isinstance(node, str):
        yield node
    for child in node.values() if isinstance(node, dict) else node if isinstance(node, list) else []:
        yield from phrases(child)


def quoted(phrase):
    """As a line of a libFuzzer dictionary; a space before it keeps words apart."""
    raw = (" " + phrase).encode()
    return '"' + "".join(chr(b) if 32 <= b < 127 and b not in b'"\\' else f"\\x{b:02x}" for b in raw) + '"'


def dictionary():
    found = set(SHAPES)
    for file in sorted(WORDS.glob("*.toml")):
        found.update(phrases(tomllib.loads(file.read_text())))
    return "".join(quoted(p) + "\n" for p in sorted(found) if len(p.encode()) < 60)


def seeds():
    """The corpus of earlier runs as it is kept, and every message of the build sets in a household of its kind."""
    for line in (HERE / "corpus.jsonl").read_text().splitlines() if (HERE / "corpus.jsonl").exists() else []:
        kept = json.loads(line)
        yield kept["household"], kept["text"]
    for file in sorted(SETS.glob("build*.jsonl")):
        for line in filter(str.strip, file.read_text().splitlines()):
            given = json.loads(line)["in"]
            spanish = "es" in given.get("languages", [])
            yield 4 * spanish + (given.get("units") == "oz"), given["text"]


def main():
    out = pathlib.Path(sys.argv[1])
    (out / "seeds").mkdir(parents=True, exist_ok=True)
    (out / "words.dict").write_text(dictionary())
    for number, (household, text) in enumerate(seeds()):
        (out / "seeds" / f"{number:05}").write_bytes(str(household).encode() + text.encode())


if __name__ == "__main__":
    main()
