#!/usr/bin/env bash
# Builds the logger for a bare Cortex-M, and proves by linking that nothing in it can panic.
#
#   firmware/check-cortex-m.sh [TARGET]        thumbv7m-none-eabi unless said otherwise
#
# It takes a rustup target if one is installed, else Debian's rustc-web, cargo-web and rust-web-src (with lld), which
# build the core library from source.
set -euo pipefail
cd "$(dirname "$0")/.."

target=${1:-thumbv7m-none-eabi}
root=$PWD
export CARGO_TARGET_DIR=$root/target/cortex-m

fail() {
    echo "check-cortex-m: $1" >&2
    exit 1
}

if rustup target list --installed 2>/dev/null | grep -qx "$target"; then
    cargo=(cargo)
    std=()
elif [ -x /usr/bin/cargo ] && [ -x /usr/bin/rustc ] \
    && [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library/core" ]; then
    export RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc RUSTDOC=/usr/bin/rustdoc
    cargo=(/usr/bin/cargo)
    std=(-Z build-std=core)
else
    fail "there is no compiler for $target: install that rustup target, or Debian's rustc-web, cargo-web, rust-web-src and lld."
fi

"${cargo[@]}" build --locked --release "${std[@]}" --target "$target" -p hingeline-protocol -p hingeline-firmware
echo "check-cortex-m: protocol and firmware build for $target"

# A linker that knows nothing but to resolve symbols: rust-lld comes with rustup, ld.lld with Debian.
linker=$(command -v ld.lld || command -v rust-lld || true)
[ -n "$linker" ] || fail "there is no ld.lld for the proof: install Debian's lld."
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
