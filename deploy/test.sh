#!/bin/sh
# The tests: makes .venv with what they need, installs the real servers they start, and runs them. Arguments go to pytest.
set -eu
cd "$(dirname "$0")/.."
. deploy/common.sh
want_packages mosquitto git chromium # the browser looks at the page of a history
make_venv test
exec .venv/bin/python -m pytest "$@"
