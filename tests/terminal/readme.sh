#!/usr/bin/env bash
# The README's first command in a real terminal of 80 by 24: a picture comes, `q` gives the terminal back.
set -euo pipefail
cd "$(dirname "$0")/../.."
socket=cellwright-readme-$$
screen() { tmux -L "$socket" "$@"; }
trap 'screen kill-server 2>/dev/null || true' EXIT

# wait_for TEXT SECONDS: until the screen shows it.
wait_for() {
    local tries=$(($2 * 10))
    while ! screen capture-pane -p | grep -qF -- "$1"; do
        tries=$((tries - 1))
        if [[ $tries -le 0 ]]; then
            echo "the screen never showed '$1' within $2 s:" >&2
            screen capture-pane -p >&2
            return 1
        fi
        sleep 0.1
    done
}

command=$(awk '/^```/ { if (inside) exit; inside = 1; next } inside' README.md | head -n 1)
screen -f /dev/null new-session -d -x 80 -y 24 env PS1='prompt> ' bash --norc
wait_for 'prompt>' 10
screen send-keys -l "$command; echo left with \$?"
screen send-keys Enter
# It may have to be built first. A program that draws takes the alternate screen.
for _ in $(seq 6000); do
    [[ $(screen display-message -p '#{alternate_on}') = 1 ]] && break
    sleep 0.1
done
wait_for ' V' 5
screen send-keys q
wait_for 'left with 0' 10
screen send-keys -l 'stty -a'
screen send-keys Enter
wait_for ' icanon' 10
wait_for ' echo ' 10
echo "'$command' shows a picture and gives the terminal back"
