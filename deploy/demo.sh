#!/bin/sh
# A simulated room, end to end: makes .venv, installs eggroom and runs `eggroom demo`. Arguments are passed on.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
case " $* " in
    *" --season"*) make_venv demo,outcomes ;; # what an invented season is for compares batches
    *) make_venv demo ;;
esac
exec .venv/bin/eggroom demo "$@"
