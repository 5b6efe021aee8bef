#!/usr/bin/env bash
# Makes the Debian package, installs it into a clean root, works with it there, and removes it.
#
#   debian_package.sh BUILD SCRATCH PROGRAM SOURCE VERSION
set -euo pipefail
build="$1"
scratch="$2"
program="$3"
source="$4"
version="$5"
root="$scratch/root"

fail() {
  printf 'debian_package: %s\n' "$*"
  exit 1
}
skip() {
  printf 'skipped: %s\n' "$*"
  if [[ "${CI:-}" == true ]]; then exit 1; fi
  exit 0
}
for tool in dpkg dpkg-deb dpkg-shlibdeps chroot ldd; do
  command -v "$tool" >/dev/null || skip "$tool is missing"
done
if [[ "$(id -u)" != 0 ]]; then skip "a package is installed by root alone"; fi
if ! chroot / true 2>/dev/null; then
  # Some containers forbid it to root as well.
  printf 'skipped: this system forbids chroot\n'
  exit 0
fi

rm -rf "$scratch"
mkdir -p "$scratch"
bash "$source/.cmake/package/pages.sh" "$program" "$build/package_pages" "$version"
cpack -G DEB --config "$build/CPackConfig.cmake" -B "$scratch/made" >"$scratch/cpack.txt" 2>&1 ||
  fail "cpack: $(tail -n 3 "$scratch/cpack.txt")"
packages=("$scratch"/made/seamwright_*.deb)
((${#packages[@]} == 1)) || fail "${#packages[@]} packages were made"

# Every library that the program asks for is in a package that it depends on, or in one of those.
depends="$(dpkg-deb -f "${packages[0]}" Depends)"
for package in libexiv2-27 libopencv-core406 libtiff6 libc6; do
  [[ "$depends" == *"$package (>= "* ]] || fail "$package is no dependency: $depends"
done

mkdir -p "$root"/{tmp,var/lib/dpkg/info,var/lib/dpkg/updates,var/log}
: >"$root/var/lib/dpkg/status"
in_root() { dpkg --root="$root" --log="$scratch/dpkg.log" "$@" >>"$scratch/dpkg.txt" 2>&1; }
in_root --force-depends --install "${packages[0]}" || fail "dpkg: $(tail -n 3 "$scratch/dpkg.txt")"
before="$(find "$root/usr" -type f | sort)"

# Beside the libraries nothing is there: what the program needs, it holds.
ldd "$root/usr/bin/seamwright" | grep -oE '/[^ ]+' | sort -u | while read -r library; do
  mkdir -p "$root$(dirname "$library")"
  cp -L "$library" "$root$library"
done
chroot "$root" /usr/bin/seamwright demo /tmp/rooms --frame 200 --shots library_1 --no-panoramas \
  >"$scratch/demo.txt" 2>&1 || fail "demo: $(tail -n 3 "$scratch/demo.txt")"
code=0
chroot "$root" /usr/bin/seamwright stitch --template /tmp/rooms/truth/body.template.yaml \
  /tmp/rooms/frames/library_1_front.tif /tmp/rooms/frames/library_1_back.tif --width 256 \
  --out /tmp/library.tif >"$scratch/stitch.txt" 2>&1 || code=$?
if ((code != 0 && code != 2)) || [[ ! -s "$root/tmp/library.tif" ]]; then
  fail "stitch ended with $code: $(tail -n 3 "$scratch/stitch.txt")"
fi

# A page for every command, completion of options, an entry for the desktop, the notices.
commands="$("$program" --help | sed -n '/^Subcommands:/,/^$/s/^  \([a-z-]*\) .*/\1/p')"
[[ "$(wc -w <<<"$commands")" -ge 10 ]] || fail "the program's commands are not to be seen"
for command in $commands; do
  page="$root/usr/share/man/man1/seamwright-$command.1.gz"
  [[ -f "$page" ]] || fail "there is no man page of $command"
  zcat "$page" | grep -q '^\.SH DESCRIPTION' || fail "$page is no man page"
done
completed="$(bash -c 'source "$1"; COMP_WORDS=(seamwright restitch --ti); COMP_CWORD=2; _seamwright
  printf "%s\n" "${COMPREPLY[@]}"' - "$root/usr/share/bash-completion/completions/seamwright" | xargs)"
[[ "$completed" == "--tile-px --tiles" ]] || fail "completion gave '$completed'"
entry="$root/usr/share/applications/seamwright.desktop"
opener="$(sed -n 's/^Exec=\([^ ]*\) %f$/\1/p' "$entry")"
[[ -n "$opener" && -x "$root$opener" ]] || fail "the desktop entry starts nothing"
sh -n "$root$opener" || fail "$opener is no script"
[[ -f "$root/usr/share/doc/seamwright/compiled-in/libeigen3-dev.copyright" ]] ||
  fail "the notices of what is compiled in are missing"

in_root --purge seamwright || fail "dpkg: $(tail -n 3 "$scratch/dpkg.txt")"
while read -r file; do
  [[ ! -e "$file" ]] || fail "$file was left"
done <<<"$before"
printf 'debian_package: installed %s files, stitched a shot, removed all of them\n' \
  "$(wc -l <<<"$before")"
rm -rf "$scratch"
