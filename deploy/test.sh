#!/bin/sh
# The tests: makes .venv with what they need, installs the real servers they start, and runs them on two cores, a file on one of them.
# --quick as the first argument leaves out what takes long. Other arguments go to pytest; `-n 0` runs in one process.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
want_packages mosquitto git chromium # the browser looks at the page of a history
make_venv test
if [ "${1-}" = --quick ]; then
    shift
    set -- -m "not slow" "$@"
fi
exec .venv/bin/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder "$@"
