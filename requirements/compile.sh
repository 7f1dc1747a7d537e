#!/bin/sh
# Pin every package again, with hashes, for every platform and Python that Chirr runs on; names no index.
# uv comes from a throwaway environment, since nothing else here needs it.
set -eu
cd "$(dirname "$0")/.."
"${PYTHON:-python3}" -m venv --clear build/uv
build/uv/bin/python -m pip --disable-pip-version-check --quiet install --only-binary :all: uv

pin() {
    out=$1
    shift
    build/uv/bin/uv pip compile pyproject.toml --quiet --upgrade --universal --python-version 3.11 --no-build \
        --generate-hashes --no-emit-index-url --no-header --no-annotate --group build "$@" -o "requirements/$out.txt"
    echo "requirements/$out.txt"
}

# One environment may hold all of them, so the smaller sets keep to the pins of the largest.
# `small` is `run` without counting on photographs and without printing, for a box with little room.
pin dev --extra vision --extra prints --group test --group lint --group words
pin run --extra vision --extra prints -c requirements/dev.txt
pin small -c requirements/dev.txt
pin docs --group docs -c requirements/dev.txt
