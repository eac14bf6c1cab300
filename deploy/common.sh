# Shared by demo.sh and test.sh (POSIX sh). Sourced with the project's root as the current folder.

say() { printf '%s\n' "eggroom: $*"; }
stop() { say "$*" >&2; exit 1; }

# as_root COMMAND...: run it as root, with sudo where we are not.
as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"
    elif command -v sudo >/dev/null 2>&1; then sudo "$@"
    else stop "needs root for: $*, expected to be run as root or with sudo installed"
    fi
}

# want_packages PACKAGE...: install those of Debian's packages that are missing.
want_packages() {
    missing=
    for package in "$@"; do
        dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing="$missing $package"
    done
    [ -z "$missing" ] && return 0
    command -v apt-get >/dev/null 2>&1 || stop "needs$missing, expected a Debian with apt-get"
    say "installing$missing"
    as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
}

# good_python: print a Python that is new enough and can make an environment; fail when there is none.
good_python() {
    for candidate in ${EGGROOM_PYTHON:-} python3 python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys, ensurepip, venv; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            command -v "$candidate"
            return 0
        fi
    done
    return 1
}

# make_venv EXTRAS: .venv with the project and its extras, made once and brought up to date each time.
make_venv() {
    if ! [ -x .venv/bin/python ] || ! .venv/bin/python -m pip --version >/dev/null 2>&1; then
        python=$(good_python) || { want_packages python3 python3-venv; python=$(good_python); } ||
            stop "Python $(python3 --version 2>&1), expected 3.11 or newer with venv"
        say "making .venv with $($python --version)"
        "$python" -m venv --clear .venv
    fi
    say "installing eggroom into .venv (a minute or two the first time)"
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".[$1]"
}
