#!/bin/sh
# Make a virtual environment with Python 3.11 or later, or say in one sentence what is missing.
set -eu
where=$1

good() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

python=
for name in "${PYTHON:-python3}" python3 python3.14 python3.13 python3.12 python3.11; do
    if command -v "$name" >/dev/null && good "$name"; then
        python=$name
        break
    fi
done
if [ -z "$python" ]; then
    echo "Chirr needs Python 3.11 or later; install it (on Debian or Ubuntu: apt-get install python3 python3-venv) and run make again." >&2
    exit 1
fi

if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    # Debian keeps this part of Python in a package of its own.
    package=$("$python" -c 'import sys; print(f"python{sys.version_info.major}.{sys.version_info.minor}-venv")')
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
        echo "Installing $package ..."
        apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$package" >/dev/null
    else
        echo "Python's venv part is missing; run 'sudo apt-get install $package' and then make again." >&2
        exit 1
    fi
fi

rm -rf "$where"
"$python" -m venv "$where" || { rm -rf "$where"; exit 1; }
