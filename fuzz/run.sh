#!/usr/bin/env bash
# Makes up messages and reads them: `fuzz/run.sh [SECONDS [PROCESSES]]` (an hour and one if not said). It needs cargo-fuzz
# and a C++ compiler; no nightly compiler, since no sanitizer is used (the reader has no unsafe code). What it builds and
# finds lies outside the repository, in $FUZZ_DIR. Afterwards the corpus of `fuzz/corpus.jsonl` is made anew, as small as
# covers the same code.
set -euo pipefail
cd "$(dirname "$0")"
work="${FUZZ_DIR:-${TMPDIR:-/tmp}/firstout-fuzz}"
mkdir -p "$work/corpus" "$work/artifacts"
RUSTC_BOOTSTRAP=1 cargo fuzz build -s none --no-trace-compares --target-dir "$work/target" read
read="$(ls "$work"/target/*/release/read)"
python3 seeds.py "$work"
cd "$work"
# What was covered is told by branch, not by how often: the reader is large, and counting costs more than reading. Messages
# of up to 80 characters, as people write them; long ones have a test of their own.
one() {
    nice -n 15 "$read" -max_total_time="$1" -max_len=80 -entropic=0 -use_counters=0 -reduce_inputs=0 -timeout=10 \
        -dict=words.dict -print_final_stats=1 -artifact_prefix=artifacts/ corpus seeds > "log-$2.txt" 2>&1
}
running=()
for n in $(seq "${2:-1}"); do
    one "${1:-3600}" "$n" &
    running+=($!)
done
for process in "${running[@]}"; do wait "$process"; done
tail -n 5 log-*.txt
rm -rf small && mkdir small
"$read" -merge=1 -use_counters=0 small corpus seeds >/dev/null 2>&1
cd - >/dev/null
python3 pack.py "$work/small" > corpus.jsonl
