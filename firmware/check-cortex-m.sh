#!/usr/bin/env bash
# Builds the logger for a bare Cortex-M, and proves by linking that nothing in it can panic.
#
#   firmware/check-cortex-m.sh [TARGET]        thumbv7m-none-eabi unless said otherwise
#
# Compilers are found as firmware/cortex-m.sh says.
set -euo pipefail
cd "$(dirname "$0")/.."
. firmware/cortex-m.sh

target=${1:-thumbv7m-none-eabi}
root=$PWD
export CARGO_TARGET_DIR=$root/target/cortex-m

find_compiler "$target"
"${cargo[@]}" build --locked --release "${std[@]}" --target "$target" -p hingeline-protocol -p hingeline-firmware
echo "check-cortex-m: protocol and firmware build for $target"

find_linker
upper=$(tr 'a-z-' 'A-Z_' <<<"$target")
export "CARGO_TARGET_${upper}_LINKER=$linker"
export "CARGO_TARGET_${upper}_RUSTFLAGS=-C linker-flavor=ld.lld -C link-arg=--gc-sections -C link-arg=--entry=_start"

proof() {
    "${cargo[@]}" build --locked --release "${std[@]}" --target "$target" \
        --manifest-path firmware/boards/no-panic/Cargo.toml "$@"
}

log=$CARGO_TARGET_DIR/no-panic.log
for level in s 3 z; do
    export CARGO_PROFILE_RELEASE_OPT_LEVEL=$level
    proof >"$log" 2>&1 || { tail -30 "$log" >&2; fail "a panic can be reached at optimisation level $level."; }
done
# The proof must be able to fail.
if proof --features seeded-panic >"$log" 2>&1; then
    fail "a panic put in on purpose was not found, so the proof says nothing."
fi
grep -q a_panic_can_be_reached "$log" || { tail -30 "$log" >&2; fail "the seeded build failed for another reason."; }
echo "check-cortex-m: no panic can be reached at optimisation levels s, 3 and z"
