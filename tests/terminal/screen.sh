#!/usr/bin/env bash
# The screen in a real terminal: start, keys, sizes, quit, put aside, killed, hung up; without colour and in ASCII.
set -euo pipefail
cd "$(dirname "$0")/../.."
binary=${CELLWRIGHT_BINARY:-target/release/cellwright}
[[ -x $binary ]] || cargo build --locked --release
binary=$(realpath "$binary")
terminals=0
socket=cellwright-screen-$$-$terminals
folder=$(mktemp -d)
screen() { tmux -L "$socket" -f /dev/null "$@"; }
trap 'screen kill-server 2>/dev/null || true; rm -rf "$folder"' EXIT

shown() { screen capture-pane -p; }

# until_so SECONDS WHAT COMMAND...: waits until the command succeeds.
until_so() {
    local tries=$(($1 * 20)) what=$2
    shift 2
    until "$@"; do
        tries=$((tries - 1))
        if [[ $tries -le 0 ]]; then
            echo "never came: $what" >&2
            shown >&2 || true
            return 1
        fi
        sleep 0.05
    done
}
has() { shown | grep -qF -- "$1"; }
lacks() { ! has "$1"; }
sees() { until_so "${2:-20}" "'$1' on the screen" has "$1"; }
alternate_is() { [[ $(screen display-message -p '#{alternate_on}') = "$1" ]]; }
gone() { ! kill -0 "$1" 2>/dev/null; }
press() { screen send-keys "$@"; }
# For a shell: types a line.
types() {
    screen send-keys -l "$1"
    screen send-keys Enter
}
# A shell in a terminal of its own; the one before is closed. A new name each time: a server that is ending is no
# server to start on.
opens() {
    screen kill-server 2>/dev/null || true
    terminals=$((terminals + 1))
    socket=cellwright-screen-$$-$terminals
    screen new-session -d -x "$1" -y "$2" env PS1='prompt> ' TERM=xterm-256color bash --norc
    sees 'prompt>'
}
given_back() {
    until_so 10 'the ordinary screen' alternate_is 0
    types 'clear; stty -a'
    sees ' icanon'
    sees ' echo '
    [[ $(screen display-message -p '#{cursor_flag}') = 1 ]] || { echo 'the cursor stays hidden' >&2; return 1; }
}
pid_of_screen() { pgrep -n -P "$(screen display-message -p '#{pane_pid}')" -x cellwright; }

echo '- start, keys and panes'
opens 80 24
types "$binary demo cold-morning; echo left with \$?"
sees 'Not a real bank'
sees 'space pause'
sees 'Whole log: warning' 60
sees 'WARNING' 60
press '?'
sees 'all keys and what the signs mean'
press Escape
until_so 10 'the bank again' lacks 'all keys and what the signs mean'
press a
sees 'Caution:'
press v
sees 'cell 1'
press d
sees 'How good the data is'
press Escape
press Space
sees 'held; plays'
press +
sees '5 min in a second'
press Home
sees '2026-01-10 00:00 UTC'
sees ' 00:00:0'
press n
sees 'WARNING'
press b
press x
sees 'seen'

echo '- every size'
screen resize-window -x 120 -y 40
sees 'since start'
screen resize-window -x 40 -y 12
until_so 10 'the small screen' lacks 'since start'
sees '? keys'
screen resize-window -x 30 -y 3
until_so 10 'the line' lacks '? keys'
sees 'WARNING'
screen resize-window -x 80 -y 24
sees 'space go on'

echo '- quit'
press q
sees 'left with 0'
given_back

echo '- put aside by its key and from outside, and back'
opens 80 24
types "$binary demo healthy-week"
sees 'space pause'
press C-z
sees 'Stopped'
given_back
types fg
sees 'space pause'
kill -TSTP "$(pid_of_screen)"
sees 'Stopped'
given_back
types fg
sees 'space pause'
press q
until_so 10 'the shell' alternate_is 0
types 'echo left with $?'
sees 'left with 0'

echo '- killed'
opens 80 24
types "$binary demo healthy-week; echo left with \$?"
sees 'space pause'
kill -TERM "$(pid_of_screen)"
sees 'left with 0'
given_back

echo '- hung up, also where the signal for it is ignored'
for before in '' 'trap "" HUP; '; do
    opens 80 24
    types "$before$binary demo healthy-week"
    sees 'space pause'
    pid=$(pid_of_screen)
    screen kill-server
    until_so 10 'the end of the program' gone "$pid"
done

echo '- a log: the whole of it, the next alert, and the way back'
"$binary" demo cold-morning --days 0.4 --log "$folder/morning.log"
opens 80 24
types "$binary replay $folder/morning.log; echo left with \$?"
sees 'morning.log'
sees 'Whole log: warning' 60
press n
sees 'held; plays'
sees 'WARNING'
press Home
sees 'WELL'
press q
sees 'left with 0'

echo '- without colour'
opens 80 24
types "NO_COLOR=1 $binary replay $folder/morning.log; echo left with \$?"
sees 'Whole log: warning' 60
press n
sees 'WARNING'
if screen capture-pane -p -e | grep -qE $'\e\\[([0-9;]*;)?(3[0-7]|38|4[0-7]|48|9[0-7])[;m]'; then
    echo 'a colour in spite of NO_COLOR' >&2
    exit 1
fi
screen capture-pane -p -e | grep -qF $'\e[1m\e[7m' || screen capture-pane -p -e | grep -qE $'\e\\[[0-9;]*7m'
press q

echo '- in ASCII on a plain console'
opens 80 24
types "TERM=linux $binary replay $folder/morning.log; echo left with \$?"
sees 'Whole log: warning' 60
if shown | LC_ALL=C grep -q '[^ -~]'; then
    echo 'more than ASCII on a plain console' >&2
    shown >&2
    exit 1
fi
press q
sees 'left with 0'

echo '- no terminal: one line, and the command to use instead'
set +e
said=$("$binary" replay "$folder/morning.log" 2>&1 </dev/null)
code=$?
set -e
[[ $code -eq 2 && $said == *"cellwright check LOG"* && $(wc -l <<<"$said") -eq 1 ]] || { echo "said: $said ($code)" >&2; exit 1; }
echo 'the screen starts, changes its size, is put aside, killed and hung up, and always gives the terminal back'
