#!/usr/bin/env bash
# Man pages and shell completion from what the program says of itself.
#
#   pages.sh PROGRAM OUT VERSION
#
# OUT/man1/seamwright.1, OUT/man1/seamwright-COMMAND.1, OUT/completion/seamwright
set -euo pipefail
program="$1"
out="$2"
version="$3"
rm -rf "$out"
mkdir -p "$out/man1" "$out/completion"

# The commands, one a line.
commands() { "$program" --help | sed -n '/^Subcommands:/,/^$/s/^  \([a-z-]*\) .*/\1/p'; }

# Text as roff takes it: no line is a request, no character an escape.
as_roff() { sed -e 's/\\/\\e/g' -e 's/-/\\-/g' -e "s/^[.']/\\\\\&&/"; }

# page NAME WORDS…: what `seamwright WORDS --help` says. Its first line is the purpose.
page() {
  local name="$1" help
  shift
  help="$("$program" "$@" --help)"
  printf '.TH %s 1 "" "Seamwright %s"\n.SH NAME\n%s \\- %s\n' "${name^^}" "$version" \
    "$(as_roff <<<"$name")" "$(head -n 1 <<<"$help" | as_roff)"
  printf '.SH SYNOPSIS\n%s\n.SH DESCRIPTION\n.nf\n' \
    "$(sed -n 's/^Usage: //p' <<<"$help" | as_roff)"
  sed -e 1d -e '/^Usage: /d' <<<"$help" | as_roff
  printf '.fi\n'
}

# The long options of a command.
options() { "$program" "$1" --help | grep -oE '^  (-[a-z],)?--[a-z-]+' | grep -oE -- '--[a-z-]+' | sort -u; }

completion() {
  printf '# Completion of seamwright for bash.\n_seamwright() {\n'
  printf '  local word="${COMP_WORDS[COMP_CWORD]}" words=""\n'
  printf '  if ((COMP_CWORD == 1)); then\n    words="%s --help --version"\n' "$(commands | xargs)"
  printf '  elif [[ "$word" == -* ]]; then\n    case "${COMP_WORDS[1]}" in\n'
  local command
  for command in $(commands); do
    printf '      %s) words="%s" ;;\n' "$command" "$(options "$command" | xargs)"
  done
  printf '    esac\n  fi\n  if [[ -n "$words" ]]; then\n'
  printf '    mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word")\n  fi\n}\n'
  printf 'complete -o default -F _seamwright seamwright\n'
}

page seamwright >"$out/man1/seamwright.1"
for command in $(commands); do page "seamwright-$command" "$command" >"$out/man1/seamwright-$command.1"; done
gzip -9 -n "$out"/man1/*.1
completion >"$out/completion/seamwright"
