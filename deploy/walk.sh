#!/bin/sh
# README's "Set it up on the Pi", walked literally on a bare Debian 12 and 13 in a folder (a few minutes, needs root or sudo and the
# network). Arguments: bookworm, trixie, or both. What is replaced there, and why, stands at the top of tests/walk.py.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
want_packages debootstrap python3
as_root env PATH="$PATH:/usr/sbin:/sbin" python3 tests/walk.py "$@"
