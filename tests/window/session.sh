#!/usr/bin/env bash
# A session in the real window, by key and mouse, under a virtual X server: the demo reel is made and opened, candidates are
# decided, a region is protected, a mark is made by hand, rooms are entered, the window is closed. What arrived is read from the journal.
#
#   BESOM_BIN=target/debug/besom tests/window/session.sh
#
# Screenshots of each step are kept in BESOM_SHOTS (default target/window-session).
set -euo pipefail
cd "$(dirname "$0")/../.."

bin=${BESOM_BIN:?BESOM_BIN names the besom program}
shots=${BESOM_SHOTS:-${CARGO_TARGET_DIR:-target}/window-session}
size=${BESOM_SIZE:-1280x720}
work=$(mktemp -d)
xvfb='' app=''

finish() {
  [ -z "$app" ] || kill "$app" 2>/dev/null || true
  [ -z "$xvfb" ] || kill "$xvfb" 2>/dev/null || true
  rm -rf "$work"
}
trap finish EXIT

fail() {
  echo "session.sh: $*" >&2
  import -window root "$shots/failed.png" 2>/dev/null || true
  [ ! -s "$work/app.log" ] || tail -20 "$work/app.log" >&2
  exit 1
}

# Waits until a command succeeds: $1 seconds at most, $2 what was waited for.
await() {
  local seconds=$1 what=$2 tries
  shift 2
  for ((tries = 0; tries < seconds * 5; tries++)); do
    "$@" >/dev/null 2>&1 && return 0
    sleep 0.2
  done
  fail "waited $seconds s for $what"
}

records() { cat "$reel"/journal/*.ron 2>/dev/null | grep -c "$1" || true; }
holds() { [ "$(records "$1")" -ge "$2" ]; }
# Journal and window both settle within a few frames; the wait only keeps key presses apart.
press() { local key; for key in "$@"; do xdotool key "$key"; sleep 0.25; done; }
shot() { sleep 0.8; import -window root "$shots/$1.png"; }

mkdir -p "$shots"
rm -f "$shots"/*.png
export HOME=$work/home XDG_RUNTIME_DIR=$work/run
mkdir -p "$HOME"
mkdir -m 700 "$XDG_RUNTIME_DIR"
unset WAYLAND_DISPLAY WAYLAND_SOCKET XDG_DATA_HOME XDG_CONFIG_HOME

# The server picks a free number itself and writes it down.
Xvfb -displayfd 3 -screen 0 "${size}x24" -nolisten tcp -noreset 3>"$work/display" >"$work/xvfb.log" 2>&1 &
xvfb=$!
await 20 "the virtual X server" test -s "$work/display"
DISPLAY=:$(cat "$work/display")
export DISPLAY

"$bin" demo --to "$work/demo" --quiet >"$work/app.log" 2>&1 &
app=$!
window=$(timeout 300 xdotool search --sync --name '^Besom$' | head -1) || fail "the window did not open"
xdotool windowmove "$window" 0 0 windowsize "$window" "${size%x*}" "${size#*x}"
sleep 1
# Without a window manager nobody else gives the window the keyboard.
xdotool windowfocus "$window"
reel=$(find "$work/demo" -maxdepth 1 -name '*.besom' | head -1)
[ -n "$reel" ] || fail "there is no reel in the demo folder"

press F2
shot survey
press F3
press n
shot bench
press a
await 10 "the first decision" holds accepted 1
press r
await 10 "the second decision" holds rejected 1
press i
await 10 "the third decision" holds intended 1
before=$(cat "$reel"/journal/*.ron | wc -l)
press ctrl+z
await 10 "the undo" test "$(cat "$reel"/journal/*.ron | wc -l)" -gt "$before"
holds Undo 1 || fail "the undo is not in the journal"
press ctrl+shift+z
await 10 "the redo" holds Undo 2

# A decision by mouse: the button is the first of the four at the foot of the right column.
before=$(records accepted)
width=${size%x*} height=${size#*x}
xdotool mousemove $((width - 244)) $((height - 239)) click 1
await 10 "the decision by mouse" holds accepted $((before + 1))

press 4 c
sleep 0.5
shot bench-4to1
press f space
sleep 1
shot bench-after
press b
sleep 0.5
shot bench-split
press b p
shot protect
# Drag a rectangle over the picture, then record it.
xdotool mousemove $((width * 45 / 100)) $((height * 35 / 100)) mousedown 1
for part in 1 2 3; do
  sleep 0.1
  xdotool mousemove $((width * 45 / 100 + part * 30)) $((height * 35 / 100 + part * 25))
done
sleep 0.1
xdotool mouseup 1
sleep 0.3
shot protect-drawn
# The button under the form, at the head of the right column.
xdotool mousemove $((width - 271)) 365 click 1
await 10 "the protected region" holds Protect 1

# A mark by hand: a stroke with the pointer, one at the ring by key, then recorded.
press h
xdotool mousemove $((width * 40 / 100)) $((height * 45 / 100)) mousedown 1
for part in 1 2 3; do
  sleep 0.1
  xdotool mousemove $((width * 40 / 100 + part * 30)) $((height * 45 / 100 + part * 10))
done
sleep 0.1
xdotool mouseup 1
sleep 0.3
press alt+Right d
shot mark
press Return
await 10 "the mark by hand" holds HandMark 1
press Escape

press F4
shot ledger
press F1
shot keys
press Escape F3 Right Right Left
shot bench-end
press ctrl+q
await 20 "the end of the window" bash -c "! kill -0 $app"
wait "$app" || fail "besom ended with an error"
app=''

lines=$(cat "$reel"/journal/*.ron | wc -l)
echo "session.sh: the window took $lines records; screenshots in $shots"
