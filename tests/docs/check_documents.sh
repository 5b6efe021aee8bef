#!/usr/bin/env bash
# Holds README and docs to the program and the sources.
#
#   check_documents.sh PROGRAM ROOT SCRATCH [KIND…]
#
# KINDs, all of them if none is given:
#   links      every link between documents leads somewhere, headings included
#   paths      every path of the project that stands in code style exists
#   tour       every function that a table names beside its source stands in that source
#   programs   every command of bootstrap, and every test, study and benchmark that is named, exists
#   messages   every message that docs/troubleshooting.md quotes stands in the sources
#   options    every option that a document names exists, of the command that it is named for
#   commands   every command line runs: frames of the demo, taken small, stand in for a user's
#
# A command line is one that begins with `seamwright`, indented by four spaces.
set -euo pipefail

program="$(realpath "$1")"
root="$(realpath "$2")"
scratch="$(realpath -m "$3")"
shift 3
kinds=("$@")
if ((${#kinds[@]} == 0)); then kinds=(links paths tour programs messages options commands); fi

readonly frame_px=600
cd "$root"
documents=(README.md DEVELOPERS.md CHANGELOG.md docs/*.md)
faults=0

fault() {
  printf 'check_documents: %s\n' "$*"
  faults=$((faults + 1))
}

# counted KIND NUMBER LEAST: a check that finds nothing to check is a fault of its own.
counted() {
  if (($2 < $3)); then fault "$1: only $2 were found, $3 or more were expected"; fi
  printf 'check_documents: %s: %d checked\n' "$1" "$2"
}

# --- reading documents ---------------------------------------------------------------------------

# Code spans of a document, one a line, those in code blocks left out.
code_spans() { sed '/^    /d' "$1" | tr '\n' ' ' | grep -o '`[^`]*`' | tr -d '`'; }

# Command lines of a document, continuation lines joined.
command_lines() {
  sed -n 's/^    //p' "$1" | sed -e ':join' -e '/\\$/{N;s/ *\\\n */ /;b join' -e '}' |
    grep '^seamwright ' || true
}

# The anchors of a document's headings.
anchors() {
  sed -n 's/^##* //p' "$1" | tr '[:upper:]' '[:lower:]' | sed 's/[^a-z0-9 _-]//g; s/ /-/g'
}

# --- links ---------------------------------------------------------------------------------------

check_links() {
  local document target file anchor count=0
  for document in "${documents[@]}"; do
    while read -r target; do
      count=$((count + 1))
      file="${target%%#*}"
      anchor=""
      if [[ "$target" == *'#'* ]]; then anchor="${target#*#}"; fi
      if [[ -z "$file" ]]; then file="$document"; else file="$(dirname "$document")/$file"; fi
      if [[ ! -e "$file" ]]; then
        fault "$document: the link '$target' leads nowhere"
      elif [[ -n "$anchor" ]] && ! anchors "$file" | grep -qxF -- "$anchor"; then
        fault "$document: '$file' has no heading '#$anchor'"
      fi
    done < <(sed '/^    /d' "$document" | grep -o '](\([^)]*\))' | sed 's/^](//; s/)$//' |
      grep -v '^https\?:')
  done
  counted links "$count" 60
}

# --- paths ---------------------------------------------------------------------------------------

check_paths() {
  local document span count=0
  local folders='base|imaging|projection|sampling|features|solver|templates|compose|jobs|apps|bench|docs|tests|\.cmake'
  for document in "${documents[@]}"; do
    while read -r span; do
      count=$((count + 1))
      [[ -e "$span" ]] || fault "$document: there is no '$span'"
    done < <(code_spans "$document" | grep -xE "($folders)/[A-Za-z0-9_./-]*" || true)
  done
  counted paths "$count" 60
}

# --- tour ----------------------------------------------------------------------------------------

# Rows of a table whose first cell is a source and functions in it: `features/ties.cc`, `find_ties`.
check_tour() {
  local cell span source count=0
  while read -r cell; do
    source=""
    while read -r span; do
      if [[ "$span" == */* ]]; then
        source="$span"
      elif [[ -f "$source" ]]; then
        count=$((count + 1))
        grep -qE "\\b${span##*::}\\(" "$source" || fault "DEVELOPERS.md: '$source' has no '$span'"
      fi
    done < <(grep -o '`[^`]*`' <<<"$cell" | tr -d '`')
  done < <(sed -nE 's/^\| (`[A-Za-z0-9_/.]+\.(cc|h)`[^|]*) \|.*/\1/p' DEVELOPERS.md)
  counted tour "$count" 40
}

# --- programs ------------------------------------------------------------------------------------

check_programs() {
  local document word count=0
  for document in "${documents[@]}"; do
    while read -r word; do
      count=$((count + 1))
      case "$word" in
        ./bootstrap*) grep -sq "^  ${word#* }  " bootstrap ;;
        build/test_*) grep -rsq --include=CMakeLists.txt "^seamwright_test(${word#build/test_}\b" tests ;;
        build/study_*) grep -rsq --include=CMakeLists.txt "^seamwright_study(${word#build/study_}\b" tests ;;
        build/bench_*) [[ -e "bench/${word#build/bench_}_bench.cc" ]] ;;
      esac || fault "$document: there is no '$word'"
    done < <(grep -ohE '\./bootstrap [a-z]+|build/(test|study|bench)_[a-z]+' "$document" || true)
  done
  counted programs "$count" 30
}

# --- messages ------------------------------------------------------------------------------------

# All sources as one text in which a string literal that goes on in the next line is whole.
joined_sources() {
  find . -type d \( -name 'build*' -o -name tests -o -name bench \) -prune -o -name '*.cc' -print0 |
    LC_ALL=C sort -z | xargs -0 cat | sed -z 's/"[ \n]*\n *"//g'
}

check_messages() {
  local sources message piece count=0
  sources="$(mktemp)"
  joined_sources >"$sources"
  while read -r message; do
    count=$((count + 1))
    while read -r piece; do
      if ((${#piece} < 4)); then continue; fi
      grep -qF -- "$piece" "$sources" || fault "troubleshooting.md: no source says '$piece' ($message)"
    done < <(sed 's/…/\n/g; s/ *\n */\n/g' <<<"$message" | sed 's/^[ ;:,.()%]*//; s/[ (]*$//')
  done < <(sed -n 's/^| `\([^`]*\)`.*/\1/p' docs/troubleshooting.md)
  rm -f "$sources"
  counted messages "$count" 50
}

# --- options -------------------------------------------------------------------------------------

declare -A help=()   # by command
declare -A known=()  # by "command option", and by option alone

read_help() {
  local command option
  while read -r command; do
    help[$command]="$("$program" "$command" --help)"
    while read -r option; do
      known["$command $option"]=1
      known["$option"]=1
    done < <(grep -oE -- '^ +(-[a-z],)?--[a-z-]+' <<<"${help[$command]}" | grep -oE -- '--[a-z-]+')
  done < <("$program" --help | sed -n '/^Subcommands:/,/^$/s/^  \([a-z]*\) .*/\1/p')
  if ((${#help[@]} < 9)); then fault "only ${#help[@]} commands were found in 'seamwright --help'"; fi
}

# check_text PLACE TEXT: the options in it, of a command if the text begins with one, else of any.
check_text() {
  local place="$1" text="$2" rest="$2" command="" first second option
  read -r first second _ <<<"$text"
  if [[ "$first" == seamwright ]]; then command="$second"; fi
  if [[ -n "$first" && -n "${help[$first]:-}" ]]; then command="$first"; fi
  if [[ "$command" == COMMAND || "$command" == --* ]]; then return; fi
  if [[ -n "$command" && -z "${help[$command]:-}" ]]; then
    fault "$place: there is no command '$command' ($text)"
    return
  fi
  while [[ "$rest" =~ (^|[^a-zA-Z0-9-])(--[a-z][a-z-]*)(.*)$ ]]; do
    option="${BASH_REMATCH[2]}"
    rest="${BASH_REMATCH[3]}"
    option_count=$((option_count + 1))
    if [[ -n "$command" && -z "${known["$command $option"]:-}" ]]; then
      fault "$place: '$command' has no option '$option' ($text)"
    elif [[ -z "${known["$option"]:-}" ]]; then
      fault "$place: no command has an option '$option' ($text)"
    fi
  done
}

# CHANGELOG names options that are gone; other programs have options of their own.
check_options() {
  local document text command
  option_count=0
  for document in "${documents[@]}"; do
    [[ "$document" == CHANGELOG.md ]] && continue
    while read -r text; do
      check_text "$document" "$text"
    done < <(
      command_lines "$document"
      code_spans "$document" | grep -vE '^(build/|cmake |ninja |ctest |perf |\./bootstrap|SEAMWRIGHT_)'
    )
  done
  for command in "${!help[@]}"; do
    while read -r text; do
      check_text "'seamwright $command --help'" "$text"
    done < <(sed -n 's/^ *\(echo [^|]*| \)\?\(seamwright .*\)/\2/p' <<<"${help[$command]}" | sed 's/  *(.*//')
  done
  counted options "$option_count" 150
}

# --- commands ------------------------------------------------------------------------------------

# A day's files, by the names that the documents use. (Called where `set -e` does not count.)
lay_out_day() {
  "$program" demo ../demo --frame "$frame_px" --shots library_1 library_2 --no-truth &&
    "$program" demo ../bracketed --frame 200 --shots library_1 --brackets -3 0 2 --no-truth &&
    mkdir -p card rooms archive/2024 room_brackets late delivered &&
    cp ../bracketed/brackets/*.tif room_brackets/ &&
    cp ../bracketed/brackets/*.tif card/ &&
    cp ../demo/frames/*.tif . &&
    cp ../demo/frames/*.tif archive/ &&
    cp ../demo/frames/*.tif archive/2024/ &&
    cp ../demo/frames/library_1_*.tif rooms/ &&
    cp ../demo/frames/library_2_*.tif late/
}

# What a command needs that the ones before it in the documents did not leave.
lay_out_rest() {
  if [[ -f lantern.template.yaml && ! -f house.run.yaml ]]; then
    local code=0
    "$program" touch --template lantern.template.yaml late/library_2_front.tif \
      late/library_2_back.tif --auto --out late/room.shot.yaml || code=$?
    if ((code != 0 && code != 2)); then return 1; fi
    sed -n '/^    format: seamwright-run/,/^$/s/^    //p' "$root/docs/archive.md" |
      sed 's/^width_px: .*/width_px: 256/; s/width_px: 4096/width_px: 128/' >house.run.yaml
  fi
  if [[ -f room.tif && ! -f delivered/room.tif ]]; then cp room.tif delivered/; fi
}

# The same line for small pictures.
made_small() {
  sed -E 's/--width [0-9]+/--width 512/; s/--jpeg-width [0-9]+/--jpeg-width 256/; s/--frame [0-9]+/--frame 200/' \
    <<<"$1"
}

# The workbench serves until Ctrl-C, which comes as soon as it has told its address.
serve_and_stop() {
  local pid told="$scratch/workbench.txt" tries
  "$@" 2>"$told" &
  pid=$!
  for ((tries = 0; tries < 100; tries++)); do
    if grep -q 'http://127.0.0.1' "$told" || ! kill -0 "$pid" 2>/dev/null; then break; fi
    sleep 0.1
  done
  # A shell's background job ignores SIGINT; the program waits for either.
  kill -TERM "$pid" 2>/dev/null || true
  wait "$pid"
}

# The command lines call this as a shell would call the program.
seamwright() {
  if [[ "$1" == workbench ]]; then
    serve_and_stop "$program" "$@"
  else
    "$program" "$@"
  fi
}

# An empty folder to work in. The demo's frames take a while: they are made where a document names them.
prepare_day() {
  rm -rf "$scratch"
  mkdir -p "$scratch/day"
  grep -q '^    .*library_1' "${documents[@]}" || return 0
  cd "$scratch/day"
  if lay_out_day >"$scratch/demo.txt" 2>&1; then return 0; fi
  fault "the demo's frames could not be made: $(tail -n 3 "$scratch/demo.txt")"
  return 1
}

run_commands() {
  local document line code count=0 log="$scratch/out.txt"
  declare -A seen=()
  prepare_day || return 0
  cd "$scratch/day"
  for document in "${documents[@]}"; do
    while read -r line; do
      if [[ -n "${seen[$line]:-}" ]]; then continue; fi
      seen[$line]=1
      count=$((count + 1))
      lay_out_rest >"$log" 2>&1 || fault "$document: what '$line' needs could not be made: $(cat "$log")"
      code=0
      eval "$(made_small "$line")" >"$log" 2>&1 </dev/null || code=$?
      if ((code != 0 && code != 2)); then
        fault "$document: '$line' ended with exit code $code: $(tail -n 3 "$log")"
      fi
    done < <(command_lines "$root/$document")
  done
  cd "$root"
  counted commands "$count" 25
}

# -------------------------------------------------------------------------------------------------

for kind in "${kinds[@]}"; do
  case "$kind" in
    links) check_links ;;
    paths) check_paths ;;
    tour) check_tour ;;
    programs) check_programs ;;
    messages) check_messages ;;
    options)
      read_help
      check_options
      ;;
    commands) run_commands ;;
    *) fault "there is no check '$kind'" ;;
  esac
done
if ((faults > 0)); then
  printf 'check_documents: %d faults\n' "$faults"
  exit 1
fi
