#!/usr/bin/env bash
# Builds a board's machine image.
#
#   firmware/build-board.sh emulated [--features F]     prints where the image is: target/boards/emulated.elf
#   firmware/build-board.sh pico                        target/boards/pico.elf, and pico.uf2 for the board's USB drive
#
# The emulated board's image links only if nothing in it can panic; the Pico-class board's has a USB stack that can, see
# firmware/panics.py. Compilers are found as firmware/cortex-m.sh says.
set -euo pipefail
cd "$(dirname "$0")/.."
. firmware/cortex-m.sh

board=${1:?which board? one of: emulated, pico}
shift
case $board in
emulated) target=thumbv7m-none-eabi ;;
pico) target=thumbv6m-none-eabi ;;
*) fail "there is no board \"$board\": there are emulated and pico." ;;
esac
find_compiler "$target"
find_linker

upper=$(tr 'a-z-' 'A-Z_' <<<"$target")
export "CARGO_TARGET_${upper}_LINKER=$linker"
flags="-C linker-flavor=ld.lld -C link-arg=-Tlink.x -C link-arg=--nmagic -C link-arg=-L$PWD/firmware/boards/$board"
# Debian's compiler, told to, notes every function's stack for firmware/budget.py; the image itself is the same.
[ ${#std[@]} = 0 ] || flags="$flags -Z emit-stack-sizes"
export "CARGO_TARGET_${upper}_RUSTFLAGS=$flags"
export HINGELINE_BUILD=${HINGELINE_BUILD:-$(git rev-parse --short=12 HEAD 2>/dev/null || echo unnamed)}
export CARGO_TARGET_DIR=$PWD/target/cortex-m

"${cargo[@]}" build --locked --release "${std[@]}" --target "$target" \
    --manifest-path "firmware/boards/$board/Cargo.toml" "$@"
mkdir -p target/boards
cp "$CARGO_TARGET_DIR/$target/release/hingeline-$board" "target/boards/$board.elf"
if [ "$board" = pico ]; then python3 firmware/uf2.py "target/boards/$board.elf" "target/boards/$board.uf2"; fi
echo "target/boards/$board.elf"
