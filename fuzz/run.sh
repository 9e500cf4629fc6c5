#!/usr/bin/env bash
# Makes up messages and reads them: `fuzz/run.sh [SECONDS [PROCESSES]]` (an hour and one if not said). It needs cargo-fuzz
# and a C++ compiler; no nightly compiler, since no sanitizer is used (the reader has no unsafe code). What it builds and
# finds lies outside the repository, in $FUZZ_DIR. Afterwards the corpus of `fuzz/corpus.jsonl` is made anew, as small as
# covers the same code.
set -euo pipefail
cd "$(dirname "$0")"
seconds="${1:-3600}" processes="${2:-1}"
work="${FUZZ_DIR:-${TMPDIR:-/tmp}/firstout-fuzz}"
mkdir -p "$work/corpus" "$work/artifacts"
export RUSTC_BOOTSTRAP=1

# Watched branch by branch it finds the way to new code; watched function by function it is several times as fast.
cargo fuzz build -s none --no-trace-compares --target-dir "$work/fine" read
# With a target named, build scripts are not watched.
host="$(rustc -vV | sed -n 's/^host: //p')"
watched="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=1 -Cllvm-args=-sanitizer-coverage-inline-8bit-counters"
RUSTFLAGS="--cfg fuzzing $watched -Cllvm-args=-sanitizer-coverage-pc-table -Cdebug-assertions -Coverflow-checks" \
    cargo build --release --locked --bin read --target "$host" --target-dir "$work/fast"
fine="$work/fine/$host/release/read" fast="$work/fast/$host/release/read"
python3 seeds.py "$work"
cd "$work"

# make_up BINARY SECONDS MOST_BYTES LOG [OPTION...]
make_up() {
    nice -n 15 "$1" -max_total_time="$2" -max_len="$3" -entropic=0 -use_counters=0 -reduce_inputs=0 -timeout=20 \
        -dict=words.dict -print_final_stats=1 -artifact_prefix=artifacts/ "${@:5}" corpus seeds > "$4" 2>&1 ||
        { tail -n 12 "$4" >&2; return 1; }
}
make_up "$fine" $((seconds / 5)) 120 fine.log
running=()
for n in $(seq "$processes"); do
    # As long as what people write, and twice that; long messages have a test of their own.
    make_up "$fast" $((seconds * 4 / 5)) $((48 * (1 + n % 2))) "fast-$n.log" -keep_seed=1 -seed="$n" &
    running+=($!)
done
for process in "${running[@]}"; do wait "$process"; done
tail -n 5 fine.log fast-*.log
rm -rf small && mkdir small
"$fine" -merge=1 -use_counters=0 small corpus seeds >/dev/null 2>&1
cd - >/dev/null
python3 pack.py "$work/small" > corpus.jsonl
