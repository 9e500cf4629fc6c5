#!/usr/bin/env bash
# Makes up messages and reads them: `fuzz/run.sh [SECONDS]` (an hour if not said). It needs cargo-fuzz and a C++ compiler;
# no nightly compiler, since no sanitizer is used (the reader has no unsafe code). What it builds and finds lies outside the
# repository, in $FUZZ_DIR. Afterwards the corpus of `fuzz/corpus.jsonl` is made anew, as small as covers the same code.
set -euo pipefail
cd "$(dirname "$0")"
work="${FUZZ_DIR:-${TMPDIR:-/tmp}/firstout-fuzz}"
mkdir -p "$work/corpus" "$work/artifacts"
RUSTC_BOOTSTRAP=1 cargo fuzz build -s none --target-dir "$work/target" read
read="$(ls "$work"/target/*/release/read)"
python3 seeds.py "$work"
cd "$work"
nice -n 15 "$read" -max_total_time="${1:-3600}" -max_len=300 -timeout=10 -dict=words.dict -print_final_stats=1 \
    -artifact_prefix=artifacts/ corpus seeds 2>&1 | tee log.txt | grep -vE 'NEW|REDUCE|RELOAD|pulse' | tail -n 12
rm -rf small && mkdir small
"$read" -merge=1 -use_counters=0 small corpus seeds >/dev/null 2>&1
cd - >/dev/null
python3 pack.py "$work/small" > corpus.jsonl
