#!/usr/bin/env python3
"""Time expressions as the reader takes them, beside a general parser of dates (dateparser, from PyPI).

`compare.py READER` writes `times.tsv` from `expressions.txt`, where READER is the built program (`target/debug/firstout`).
It needs a Python with dateparser; CI doesn't run it. A test holds the reader to its column (`tests/times.rs`).

Both are given the same moment and asked for the past. The verdict on a difference is by the rules below; what no rule
explains is `?` and must not be committed.
"""

import json
import pathlib
import subprocess
import sys
from datetime import datetime, timedelta

import dateparser

HERE = pathlib.Path(__file__).resolve().parent
CARRIER = {"en": "pumped 120 {}", "es": "me saqué 120 {}"}


def cases():
    lang, sent, zone = "en", "2027-03-09T14:40", "UTC"
    for line in (HERE / "expressions.txt").read_text().splitlines():
        if line.startswith("@"):
            lang, sent, zone = line[1:].split()
        elif line.strip() and not line.startswith("#"):
            yield lang, line.strip(), sent, zone


def ours(reader, all_cases):
    given = [
        {"text": CARRIER[lang].format(words), "sent": sent, "zone": zone, "languages": [lang]}
        for lang, words, sent, zone in all_cases
    ]
    text = "".join(json.dumps(g) + "\n" for g in given)
    out = subprocess.run([reader, "read"], input=text, capture_output=True, text=True, check=True).stdout
    for line in out.splitlines():
        read = json.loads(line)
        if read["unclear"]:
            yield "asks: " + read["unclear"]["about"]
        elif len(read["acts"]) != 1:
            yield "-" if not read["acts"] else f"{len(read['acts'])} acts"
        else:
            act = read["acts"][0]
            late = act.get("at_latest")
            yield act["at"] + (f" to {late}" if late else "") + ("" if act.get("timed") else " (sent)")


def theirs(lang, words, sent, zone):
    settings = {
        "PREFER_DATES_FROM": "past",
        "RELATIVE_BASE": datetime.fromisoformat(sent),
        "TIMEZONE": zone,
        "DATE_ORDER": "DMY",
    }
    try:
        found = dateparser.parse(words, languages=[lang], settings=settings)
    except Exception as error:  # whatever it is, it is their answer
        return f"fails: {type(error).__name__}"
    return found.replace(tzinfo=None).isoformat(timespec="minutes") if found else "-"


def verdict(words, sent, zone, us, them):
    if us == them:
        return "same"
    base = datetime.fromisoformat(sent)
    if us.startswith("asks"):
        if us != "asks: time":
            found = "finds no time" if them == "-" else "takes one of two days"
            return f"neither: ours asks, though for another reason; theirs {found}"
        return "ours right: the words leave a choice of days, so it is asked" if them != "-" else "ours right: no such day, so it is asked"
    if us == "-" and "ago" in words.split() + words.replace("hace", "ago").split():
        return "theirs right: ours is silent, which records nothing wrong"
    if us == "-":
        return "same: neither takes it for a time that has been" if them == "-" else "ours right: it is to come, or no time of a pumping, so nothing is recorded"
    if us.endswith("(sent)"):
        if them == "-":
            return "same: neither finds a time"
        return "ours right: a length of time is not when" if words.startswith(("for ", "durante ")) else "?"
    if them.startswith("fails"):
        return "ours right: the hour that comes twice is the earlier one, theirs fails on it"
    if them == "-":
        return "ours right: theirs doesn't know the words"
    early, _, late = us.partition(" to ")
    at, early = datetime.fromisoformat(them), datetime.fromisoformat(early)
    if "ago" in words.split() + words.replace("hace", "ago").split() and zone != "UTC":
        return "ours right: hours that went by are counted across the change of the clocks"
    number = any(c.isdigit() for c in words)
    if number and at.time() == datetime.min.time() and early.date() != at.date() and early.time() != at.time():
        return "ours right: theirs takes the hour for a day, month or year"
    if late:
        late = datetime.fromisoformat(late)
        if early <= at <= late:
            return "ours right: a vague time is a range, and theirs lies in it"
        if at > base:
            return "ours right: theirs is to come"
        if at.time() == base.time():
            return "ours right: theirs is the hour of sending on some day, which nobody said"
        return "ours right: the words name a range of the last one that has been"
    if at > base:
        return "ours right: theirs is to come, and milk that is pumped was pumped before"
    if (early - at) in (timedelta(hours=12), timedelta(hours=-12)):
        return "ours right: the nearest past of am and pm" if early > at else "?"
    if at.time() == base.time():
        return "ours right: theirs drops the clock time"
    if early > at and early.time() == at.time():
        return "ours right: the nearest past one"
    return "?"


def main():
    all_cases = list(cases())
    rows = zip(all_cases, ours(sys.argv[1], all_cases))
    with (HERE / "times.tsv").open("w") as out:
        out.write(f"# dateparser {dateparser.__version__}; PREFER_DATES_FROM past, RELATIVE_BASE sent, DATE_ORDER DMY. Made by compare.py.\n")
        out.write("language\texpression\tsent\tzone\tours\tdateparser\tverdict\n")
        counts = {}
        for (lang, words, sent, zone), us in rows:
            them = theirs(lang, words, sent, zone)
            judged = verdict(words, sent, zone, us, them)
            counts[judged.split(":")[0]] = counts.get(judged.split(":")[0], 0) + 1
            out.write("\t".join([lang, words, sent, zone, us, them, judged]) + "\n")
    print(len(all_cases), "expressions:", counts)


if __name__ == "__main__":
    main()
