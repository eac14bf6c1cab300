#!/bin/sh
# A simulated room, end to end: makes .venv, installs eggroom and runs `eggroom demo`. Arguments are passed on.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
make_venv demo
exec .venv/bin/eggroom demo "$@"
