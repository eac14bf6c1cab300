#!/bin/sh
# The tests: makes .venv with what they need, installs the real servers they start, and runs them, each file in one process: three processes
# on two cores, for there is always one that waits for a server, a node or a phone.
# --quick as the first argument leaves out what takes long. Other arguments go to pytest; `-n 0` runs in one process.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
want_packages mosquitto git chromium # the browser looks at the page of a history
make_venv test
if [ "${1-}" = --quick ]; then
    shift
    set -- -n 2 -m "not slow" "$@" # nothing of it waits
else
    set -- -n 3 "$@"
fi
unset PYTHONDONTWRITEBYTECODE # else each of the hundreds of programs that the tests start compiles itself anew

# What the tests write goes with them, and need not wait for a disk at each commit: it is kept in memory, where there is plenty.
folder=$(mktemp -d /dev/shm/eggroom-XXXXXX 2>/dev/null) || folder=
if [ -n "$folder" ]; then
    trap 'rm -rf "$folder" || :' EXIT
    trap 'exit 1' HUP INT TERM
    chmod 711 "$folder" # another account looks at a record there
    printf '#!/bin/sh\n' >"$folder/program"
    chmod +x "$folder/program"
    room=$(df -Pk "$folder" | awk 'NR == 2 { print $4 }')
    memory=$(awk '$1 == "MemAvailable:" { print $2 }' /proc/meminfo)
    if "$folder/program" 2>/dev/null && [ "$room" -ge 2000000 ] && [ "${memory:-0}" -ge 4000000 ]; then
        export TMPDIR="$folder"
        set -- --basetemp "$folder/tests" "$@" # short, for a socket's path may not be long
    fi
fi
.venv/bin/python -m pytest --dist loadfile --no-loadscope-reorder "$@"
