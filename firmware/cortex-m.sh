# What the builds for a bare Cortex-M share; read by other scripts. `fail` ends them, and these two look for
#
#   find_compiler TARGET    cargo and std: a rustup target if one is installed, else Debian's rustc-web, cargo-web and
#                           rust-web-src (with lld), which build the core library from source
#   find_linker             linker: one that knows nothing but to resolve symbols

fail() {
    echo "$(basename "$0" .sh): $1" >&2
    exit 1
}

find_compiler() {
    if rustup target list --installed 2>/dev/null | grep -qx "$1"; then
        cargo=(cargo)
        std=()
    elif [ -x /usr/bin/cargo ] && [ -x /usr/bin/rustc ] \
        && [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library/core" ]; then
        export RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc RUSTDOC=/usr/bin/rustdoc
        cargo=(/usr/bin/cargo)
        std=(-Z build-std=core)
    else
        fail "there is no compiler for $1: install that rustup target, or Debian's rustc-web, cargo-web, rust-web-src and lld."
    fi
}

find_linker() {
    # rust-lld comes with rustup, ld.lld with Debian.
    linker=$(command -v ld.lld || command -v rust-lld || true)
    [ -n "$linker" ] || fail "there is no ld.lld to link with: install Debian's lld."
}
